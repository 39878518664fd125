// What the facts of a set-up forbid, before any shot is looked at (arrow/limits.hpp). Only what was
// told counts as known; what is assumed elsewhere for want of it is not.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "nocktrail/arrow/limits.hpp"
#include "nocktrail/tune/judgement.hpp"
#include "nocktrail/tune/session_data.hpp"

namespace nocktrail::tune {

// The arrow's mass is the weighed one, else the sum of parts that were all told; of a fletched
// arrow whose fletching was not weighed the slack is a heavy fletching's.
arrow::LimitFacts limit_facts(const SetupFacts& facts);

// The same arrow without its fletching, its mass on the light side.
arrow::LimitFacts bare_limit_facts(const SetupFacts& facts);

// What forbids, each a whole text: figure, limit, whose it is, what brings it back inside.
std::vector<std::string> stop_texts(const SetupFacts& facts);

// The same with what its shots forbid by their mean, where only that is known: a bare shaft that
// trails too far.
std::vector<std::string> stop_texts(const SetupFacts& facts,
                                    const std::optional<OffsetSummary>& lateral,
                                    const std::optional<OffsetSummary>& vertical);

// The step that a passed limit leaves.
StepKind step_of(arrow::Forbids what);
// What is left to do where the facts forbid something; empty where they do not.
std::optional<Step> limit_step(const SetupFacts& facts);

// Where the facts forbid something, that becomes the step of a shot that has a verdict; what the
// shot itself forbids stays, after it.
void put_stops_first(Shot& shot, const SetupFacts& facts);

}  // namespace nocktrail::tune
