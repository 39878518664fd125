// The words that stand for enumerations in the logbook's tables. They are part of the file: a word
// once written is never given another meaning.
#pragma once

#include "nocktrail/tune/session_data.hpp"
#include "values.hpp"

namespace nocktrail::logbook {

Value word(Hand hand);  // NULL for unknown
Value word(tune::Fletching fletching);
Value word(tune::SpineConvention convention);
Value word(arrow::SpineGroups groups);
Value word(ShotStatus status);
Value word(ClipStatus status);
Value word(RateSource source);
Value word(FocalSource source);
Value word(SpineVerdict verdict);
Value word(NockingPointVerdict verdict);
Value word(View view);
Value word(ReadBy by);
Value word(BowSource source);

// The way back; a word that is none (empty, for NULL) gives the first of the enumeration.
Hand hand_of(const std::string& word);
tune::Fletching fletching_of(const std::string& word);
tune::SpineConvention spine_convention_of(const std::string& word);
arrow::SpineGroups spine_groups_of(const std::string& word);

}  // namespace nocktrail::logbook
