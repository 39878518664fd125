// A session in words and as JSON.
#pragma once

#include <nlohmann/json_fwd.hpp>
#include <string>
#include <vector>

#include "nocktrail/tune/judgement.hpp"
#include "nocktrail/tune/session_data.hpp"

namespace nocktrail::session {

// "2-lower/IMG_01.mp4: nock left 2.41 ± 0.18 deg, nock high 0.8 ± 0.6 deg; spine weak, nocking
// point unclear": one line of printable text, in the bow's frame where the cant is known. A shot
// left out, a refusal and an unreadable file say so, with the reason.
std::string clip_line(const std::string& setup, const tune::ClipRecord& clip);

// tune::judgement_json with every clip's particulars added to its set-up ("clips"), and the
// messages. Keys are described in docs/session.md.
nlohmann::json session_json(const tune::SessionRecord& session,
                            const tune::SessionJudgement& judgement,
                            const std::vector<std::string>& messages);

}  // namespace nocktrail::session
