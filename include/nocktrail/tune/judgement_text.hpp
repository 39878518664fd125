// A session's judgement as text for people: the same words on a terminal, in a log and in a test.
#pragma once

#include <string>

#include "nocktrail/tune/judgement.hpp"

namespace nocktrail::tune {

// The next step first, then each set-up with its offsets, what this bow answers to a change,
// cautions, and the build sheet when there is one. Lines are not wrapped; ends in a newline.
std::string judgement_text(const SessionRecord& session, const SessionJudgement& judgement);

// One line: what set-up and shots say together, and the next step's kind.
std::string judgement_line(const SessionRecord& session, const SessionJudgement& judgement);

// The build sheet alone; empty without one.
std::string build_sheet_text(const SessionJudgement& judgement);

}  // namespace nocktrail::tune
