#include "nocktrail/tune/judgement.hpp"

namespace nocktrail::tune {

SessionJudgement judge_session(const SessionRecord& session, const JudgementOptions& options) {
  SessionJudgement judgement;
  for (const SetupRecord& setup : session.setups) {
    SetupJudgement each;
    each.name = setup.name;
    judgement.setups.push_back(each);
  }
  judgement.next.words = options.draws > 0 ? "Film more shots." : "";
  return judgement;
}

}  // namespace nocktrail::tune
