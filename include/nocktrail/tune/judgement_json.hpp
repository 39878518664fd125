// A session's judgement as JSON, schema nocktrail.session/2 of docs/tuning.md.
#pragma once

#include <nlohmann/json_fwd.hpp>

#include "nocktrail/tune/judgement.hpp"

namespace nocktrail::tune {

// Every key of the schema is present; what is unknown, or not a finite number, is null. Angles in
// degrees, lengths in metres, masses in kilograms. Text is UTF-8; bytes that are not become '?'.
nlohmann::json judgement_json(const SessionRecord& session, const SessionJudgement& judgement);

}  // namespace nocktrail::tune
