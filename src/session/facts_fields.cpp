#include <array>

#include "nocktrail/session/facts_form.hpp"

namespace nocktrail::session {
namespace {

using Kind = FactField::Kind;

constexpr std::array kFields = {
    FactField{"name", "Name of the session", "spring", Kind::words, true},
    FactField{"hand", "Hand that draws", "right|left", Kind::choice},
    FactField{"cant", "Cant of the bow, upper limb to the right positive", "15", Kind::angle},
    FactField{"target_distance", "Arrow rest to the butt's face", "12m"},
    FactField{"notes", "Notes", "indoors, soft butt at 8 m", Kind::text},
    FactField{"accept_nock_height", "Nock height is left as it is, because", "shoots well",
              Kind::words},
    FactField{"bow.name", "Bow", "the yew longbow", Kind::words},
    FactField{"bow.string", "String", "14 strands", Kind::words},
    FactField{"bow.string_mass", "String, weighed with its servings", "115gr"},
    FactField{"bow.draw_weight", "Draw weight, as marked", "45lb"},
    FactField{"bow.rated_draw_length", "Draw length of that mark (AMO)", "28in"},
    FactField{"bow.brace_height", "Brace height", "7 1/4in"},
    FactField{"bow.brace_min", "Least brace height its maker allows", "6 3/4in"},
    FactField{"bow.brace_max", "Greatest brace height its maker allows", "7 3/4in"},
    FactField{"bow.min_grains_per_pound", "Lightest arrow its maker allows, grains a pound", "8",
              Kind::number},
    FactField{"bow.max_draw_length", "Longest draw its maker allows (AMO)", "29in"},
    FactField{"bow.max_draw_weight", "Greatest held weight its maker allows", "50lb"},
    FactField{"bow.plate_offset", "Strike plate from the string's plane, outside centre positive",
              "1/16in"},
    FactField{"bow.nocking_point", "Nocking point above square", "5/8in"},
    FactField{"archer.draw_length", "Draw length (AMO)", "28in"},
    FactField{"arrow.name", "Arrow", "test shaft", Kind::words},
    FactField{"arrow.shaft_length", "Shaft length, without the point", "31in"},
    FactField{"arrow.arrow_length", "Arrow length, with the point", "31 3/4in"},
    FactField{"arrow.diameter", "Diameter", "0.30in"},
    FactField{"arrow.spine", "Spine: deflection (ASTM)", "0.500in"},
    FactField{"arrow.wood_spine", "or in pounds, of wood", "50lb"},
    FactField{"arrow.youngs_modulus_gpa", "or of a tube: its modulus, GPa", "71", Kind::number},
    FactField{"arrow.wall", "with its wall", "0.013in"},
    FactField{"arrow.mass_per_length", "Shaft's mass per inch", "8.0gr/in"},
    FactField{"arrow.shaft_mass", "or the shaft alone, weighed", "248gr"},
    FactField{"arrow.nock_mass", "Nock", "10gr"},
    FactField{"arrow.tip_mass", "Point and insert together", "125gr"},
    FactField{"arrow.total_mass", "Whole arrow, weighed", "383gr"},
    FactField{"arrow.taper_length", "Tapered tail: its length", "9in"},
    FactField{"arrow.taper_end_diameter", "and its diameter at the nock", "0.27in"},
    FactField{"arrow.fletching", "Fletching", "bare|fletched", Kind::choice},
    FactField{"arrow.fletching_mass", "Feathers' mass", "12gr"},
    FactField{"camera.picture_width",
              "What the picture's longer side shows of a wall, and from how far", "2.9m at 2m"},
    FactField{"camera.focal_35mm", "or its focal length as 35 mm equivalent, measured, mm", "26",
              Kind::number},
    FactField{"camera.phone", "or a name of your phones file", "mine", Kind::words},
    FactField{"camera.capture_fps", "Frames a second, if clips do not say", "240", Kind::number},
};

constexpr std::array kOfClip = {
    FactField{"hand", "Hand that draws", "right|left", Kind::choice},
    FactField{"cant", "Cant of the bow, upper limb to the right positive", "15", Kind::angle},
    FactField{"picture_width", "What the picture's longer side showed of a wall, and from how far",
              "2.9m at 2m"},
    FactField{"focal_35mm", "or its focal length as 35 mm equivalent, measured, mm", "26",
              Kind::number},
    FactField{"capture_fps", "Frames a second, if the clip does not say", "240", Kind::number},
};

}  // namespace

std::span<const FactField> clip_fields() {
  return kOfClip;
}

std::span<const FactField> fact_fields() {
  return kFields;
}

}  // namespace nocktrail::session
