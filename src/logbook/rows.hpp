// What a session says, as rows.
#pragma once

#include <map>
#include <string>

#include "nocktrail/tune/judgement.hpp"
#include "nocktrail/tune/session_data.hpp"
#include "values.hpp"

namespace nocktrail::logbook {

void append(Row& row, Row more);

Row bow_row(const tune::BowFacts& bow);
Row arrow_row(const tune::ArrowFacts& arrow);
// What can be changed from one set-up to the next.
Row changeable_row(const tune::SetupFacts& facts);
// The outcome of reading a clip, the same in each of its rows.
Row clip_reading_row(const tune::ClipRecord& clip);
Row shot_reading_row(const Shot& shot);
Row verdict_row(const tune::SetupJudgement& judged);
Row advice_row(const tune::Step& step);

// Why the judgement calls a shot of this set-up an outlier, by clip as it names them: "a.mp4", and
// "a.mp4#2" for the second shot of one.
std::map<std::string, std::string> outliers_of(const tune::SessionJudgement& judgement,
                                               const std::string& setup);

}  // namespace nocktrail::logbook
