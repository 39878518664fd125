#include "nocktrail/tune/judgement.hpp"

namespace nocktrail::tune {

const char* word(StepKind kind) {
  switch (kind) {
    case StepKind::film_more:
      return "film-more";
    case StepKind::mind_form:
      return "mind-form";
    case StepKind::start_high:
      return "start-high";
    case StepKind::lower_nocking_point:
      return "lower-nocking-point";
    case StepKind::raise_nocking_point:
      return "raise-nocking-point";
    case StepKind::trim_shaft:
      return "trim-shaft";
    case StepKind::heavier_tip:
      return "heavier-tip";
    case StepKind::lighter_tip:
      return "lighter-tip";
    case StepKind::weaker_shaft:
      return "weaker-shaft";
    case StepKind::stiffer_shaft:
      return "stiffer-shaft";
    case StepKind::thinner_plate:
      return "thinner-plate";
    case StepKind::check_contact:
      return "check-contact";
    case StepKind::shoot_bare:
      return "shoot-bare";
    case StepKind::fine_tune_brace:
      return "fine-tune-brace";
    case StepKind::done:
      break;
  }
  return "done";
}

const char* word(Quantity quantity) {
  switch (quantity) {
    case Quantity::shaft_length:
      return "shaft-length";
    case Quantity::tip_mass:
      return "tip-mass";
    case Quantity::nocking_point:
      return "nocking-point";
    case Quantity::brace_height:
      return "brace-height";
    case Quantity::plate_offset:
      return "plate-offset";
    case Quantity::spine:
      break;
  }
  return "spine";
}

}  // namespace nocktrail::tune
