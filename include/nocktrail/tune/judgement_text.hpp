// A session's judgement as text for people: the same words on a terminal, in a log and in a test.
#pragma once

#include <optional>
#include <string>

#include "nocktrail/tune/judgement.hpp"

namespace nocktrail::tune {

// The next step first, then each set-up with its offsets, what this bow answers to a change,
// cautions, and the build sheet when there is one. Lines are not wrapped; ends in a newline.
std::string judgement_text(const SessionRecord& session, const SessionJudgement& judgement);

// One line: what set-up and shots say together, and the next step's kind.
std::string judgement_line(const SessionRecord& session, const SessionJudgement& judgement);

// The scatter from shot to shot, deg, as a number; in words where there is none: one shot shows no
// scatter, and one that is taken for zero is hidden by the error of measuring. "-" without shots.
std::string scatter_words(const std::optional<OffsetSummary>& summary, int counted);

// A chance as far as a thousand draws tell it: "3 %", "under 1 %".
std::string chance_words(double chance);

// The build sheet alone; empty without one.
std::string build_sheet_text(const SessionJudgement& judgement);

}  // namespace nocktrail::tune
