#include "nocktrail/tune/judgement.hpp"

namespace nocktrail::tune {

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
