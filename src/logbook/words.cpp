#include "words.hpp"

namespace nocktrail::logbook {

using namespace std::string_literals;

Value word(Hand hand) {
  switch (hand) {
    case Hand::right:
      return "right"s;
    case Hand::left:
      return "left"s;
    case Hand::unknown:
      break;
  }
  return {};
}

Value word(tune::Fletching fletching) {
  switch (fletching) {
    case tune::Fletching::fletched:
      return "fletched"s;
    case tune::Fletching::bare:
      return "bare"s;
    case tune::Fletching::unknown:
      break;
  }
  return {};
}

Value word(tune::SpineConvention convention) {
  return convention == tune::SpineConvention::wood_pounds ? "wood-pounds"s : "deflection-in"s;
}

Value word(arrow::SpineGroups groups) {
  return groups == arrow::SpineGroups::pounds ? "pounds"s : "deflection"s;
}

Value word(ShotStatus status) {
  return status == ShotStatus::measured ? "measured"s : "refused"s;
}

Value word(ClipStatus status) {
  switch (status) {
    case ClipStatus::measured:
      return "measured"s;
    case ClipStatus::no_shot:
      return "no-shot"s;
    case ClipStatus::refused:
      return "refused"s;
    case ClipStatus::error:
      break;
  }
  return "error"s;
}

Value word(RateSource source) {
  switch (source) {
    case RateSource::tag:
      return "tag"s;
    case RateSource::user:
      return "user"s;
    case RateSource::container:
      break;
  }
  return "container"s;
}

Value word(FocalSource source) {
  switch (source) {
    case FocalSource::user:
      return "user"s;
    case FocalSource::calibration:
      return "calibration"s;
    case FocalSource::assumed:
      break;
  }
  return "assumed"s;
}

Value word(SpineVerdict verdict) {
  switch (verdict) {
    case SpineVerdict::weak:
      return "weak"s;
    case SpineVerdict::stiff:
      return "stiff"s;
    case SpineVerdict::matched:
      return "matched"s;
    case SpineVerdict::unclear:
      break;
  }
  return "unclear"s;
}

Value word(NockingPointVerdict verdict) {
  switch (verdict) {
    case NockingPointVerdict::high:
      return "high"s;
    case NockingPointVerdict::low:
      return "low"s;
    case NockingPointVerdict::level:
      return "level"s;
    case NockingPointVerdict::unclear:
      break;
  }
  return "unclear"s;
}

Value word(View view) {
  return std::string(view == View::side ? "side" : "behind");
}

Value word(ReadBy by) {
  return std::string(by == ReadBy::hand ? "hand" : "program");
}

Value word(BowSource source) {
  switch (source) {
    case BowSource::seen:
      return std::string("seen");
    case BowSource::told:
      return std::string("told");
    case BowSource::assumed:
      break;
  }
  return std::string("assumed");
}

Hand hand_of(const std::string& word) {
  return word == "right" ? Hand::right : word == "left" ? Hand::left : Hand::unknown;
}

tune::Fletching fletching_of(const std::string& word) {
  return word == "fletched" ? tune::Fletching::fletched
         : word == "bare"   ? tune::Fletching::bare
                            : tune::Fletching::unknown;
}

tune::SpineConvention spine_convention_of(const std::string& word) {
  return word == "wood-pounds" ? tune::SpineConvention::wood_pounds
                               : tune::SpineConvention::deflection_in;
}

arrow::SpineGroups spine_groups_of(const std::string& word) {
  return word == "pounds" ? arrow::SpineGroups::pounds : arrow::SpineGroups::deflection;
}

}  // namespace nocktrail::logbook
