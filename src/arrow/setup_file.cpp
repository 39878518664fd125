#include "nocktrail/arrow/setup_file.hpp"

#include <fmt/format.h>

#include <optional>
#include <utility>

#include "nocktrail/arrow/setup_check.hpp"
#include "nocktrail/arrow/spine.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/units/hand_written.hpp"
#include "nocktrail/units/toml_table.hpp"

namespace nocktrail::arrow {
namespace {

// Effective lifting area of three fletchings of ordinary size, with the slope of free_flight.hpp.
constexpr double kUsualFletchingArea_m2 = 1.26e-3;

using Table = units::TomlTable;

Table section(Table& root, const std::string& key) {
  if (std::optional<Table> table = root.inner(key)) {
    return *table;
  }
  throw BadInput(fmt::format(
      "{}: the section [{}] is missing; `nocktrail effects --template` prints a whole file",
      root.source(), key));
}

// A section's fields; a complaint about one also says what it accepts.
class Fields {
 public:
  Fields(Table& table, std::string section) : table_(table), section_(std::move(section)) {}

  template <typename Parse>
  std::optional<double> quantity(const std::string& key, Parse parse) {
    return with_range(key, [&] { return table_.quantity(key, parse); });
  }
  template <typename Parse>
  double needed(const std::string& key, Parse parse, std::string_view example) {
    return with_range(key, [&] { return table_.needed(key, parse, example); });
  }

 private:
  template <typename Read>
  auto with_range(const std::string& key, Read read) const {
    try {
      return read();
    } catch (const BadInput& error) {
      const std::string range = accepted_range(section_ + "." + key);
      throw BadInput(range.empty() ? std::string(error.what())
                                   : fmt::format("{} ({} is accepted)", error.what(), range));
    }
  }

  Table& table_;
  std::string section_;
};

Bow read_bow(Table table) {
  Fields fields(table, "bow");
  Bow bow;
  bow.draw_weight_n = fields.needed("draw_weight", units::parse_draw_weight_n, "45lb");
  bow.rated_draw_m =
      fields.quantity("rated_draw_length", units::parse_length_m).value_or(bow.rated_draw_m);
  bow.brace_height_m = fields.needed("brace_height", units::parse_length_m, "7.25in");
  bow.brace_min_m = fields.quantity("brace_min", units::parse_length_m);
  bow.brace_max_m = fields.quantity("brace_max", units::parse_length_m);
  bow.max_draw_m = fields.quantity("max_draw_length", units::parse_length_m);
  bow.max_draw_weight_n = fields.quantity("max_draw_weight", units::parse_draw_weight_n);
  bow.string_mass_kg = fields.quantity("string_mass", units::parse_mass_kg);
  bow.min_grains_per_pound = table.number("min_grains_per_pound");
  bow.plate_offset_m = fields.needed("plate_offset", units::parse_length_m, "1/16in");
  bow.nocking_point_m = fields.needed("nocking_point", units::parse_length_m, "1/2in");
  table.refuse_unknown();
  return bow;
}

// The stiffness, from whichever of the three ways of saying it is there.
void read_stiffness(Table& table, Fields& fields, Shaft& shaft, std::string_view source) {
  const auto deflection_m = fields.quantity("spine", units::parse_deflection_m);
  const auto pounds_n = fields.quantity("wood_spine", units::parse_force_n);
  const auto modulus_gpa = table.number("youngs_modulus_gpa");
  const auto wall_m = fields.quantity("wall", units::parse_length_m);
  const int ways = static_cast<int>(deflection_m.has_value()) +
                   static_cast<int>(pounds_n.has_value()) +
                   static_cast<int>(modulus_gpa.has_value());
  if (ways != 1) {
    throw BadInput(fmt::format(
        "{}: give exactly one of arrow.spine (\"0.500in\", ASTM), arrow.wood_spine (\"50lb\") or "
        "arrow.youngs_modulus_gpa with arrow.wall",
        source));
  }
  const auto positive = [&](const char* key, double value) {
    if (value <= 0.0) {
      table.fail(key, " must be above zero");
    }
    return value;
  };
  if (deflection_m) {
    shaft.ei_n_m2 =
        ei_from_astm_deflection(positive("spine", *deflection_m) / units::kMetresPerInch);
  } else if (pounds_n) {
    shaft.ei_n_m2 =
        ei_from_wood_pounds(positive("wood_spine", *pounds_n) / units::kNewtonsPerPoundForce);
    shaft.groups = SpineGroups::pounds;
  } else {
    shaft.ei_n_m2 = ei_of_tube(1e9 * positive("youngs_modulus_gpa", *modulus_gpa), shaft.diameter_m,
                               wall_m.value_or(shaft.diameter_m));
  }
}

ArrowBuild read_arrow(Table table, std::string_view source) {
  Fields fields(table, "arrow");
  ArrowBuild arrow;
  Shaft& shaft = arrow.shaft;
  shaft.length_m = fields.needed("shaft_length", units::parse_length_m, "29in");
  shaft.diameter_m = fields.needed("diameter", units::parse_length_m, "0.30in");
  read_stiffness(table, fields, shaft, source);
  const auto line = fields.quantity("mass_per_length", units::parse_mass_per_length_kg_per_m);
  const auto whole = fields.quantity("shaft_mass", units::parse_mass_kg);
  if (line.has_value() == whole.has_value()) {
    throw BadInput(fmt::format(
        "{}: give exactly one of arrow.mass_per_length (\"8.0gr/in\") and arrow.shaft_mass "
        "(\"232gr\", the bare shaft at its present length)",
        source));
  }
  arrow.nock_mass_kg = fields.quantity("nock_mass", units::parse_mass_kg).value_or(0.0);
  arrow.tip_mass_kg = fields.needed("tip_mass", units::parse_mass_kg, "125gr");
  shaft.taper_length_m = fields.quantity("taper_length", units::parse_length_m).value_or(0.0);
  shaft.taper_end_diameter_m =
      fields.quantity("taper_end_diameter", units::parse_length_m).value_or(0.0);
  arrow.fletching_mass_kg = fields.quantity("fletching_mass", units::parse_mass_kg).value_or(0.0);
  arrow.fletching_area_m2 = arrow.fletching_mass_kg > 0.0 ? kUsualFletchingArea_m2 : 0.0;
  table.refuse_unknown();
  if (line) {
    shaft.mass_per_length_kg_per_m = *line;
  } else if (shaft.length_m > 0.0 && *whole > 0.0) {
    // Of a tapered shaft the full part is heavier than the mean.
    Shaft unit = shaft;
    unit.mass_per_length_kg_per_m = 1.0;
    ArrowBuild bare;
    bare.shaft = unit;
    shaft.mass_per_length_kg_per_m = *whole / mass_properties(bare).mass_kg;
  }
  return arrow;
}

}  // namespace

Setup parse_setup(std::string_view text, std::string_view source) {
  Table root = Table::parse(text, source);
  Setup setup;
  const std::optional<std::string> hand = root.words("hand");
  if (hand && hand != "right" && hand != "left") {
    root.fail("hand", fmt::format(": \"{}\" is neither \"right\" nor \"left\"", *hand));
  }
  setup.archer.hand = !hand ? Hand::unknown : hand == "left" ? Hand::left : Hand::right;
  setup.bow = read_bow(section(root, "bow"));
  Table archer = section(root, "archer");
  setup.archer.draw_m =
      Fields(archer, "archer").needed("draw_length", units::parse_length_m, "28in");
  archer.refuse_unknown();
  setup.arrow = read_arrow(section(root, "arrow"), source);
  root.refuse_unknown();
  try {
    check_setup(setup);
  } catch (const BadInput& error) {
    throw BadInput(fmt::format("{}: {}", source, error.what()));
  }
  return setup;
}

Setup read_setup_file(const std::string& path) {
  const std::optional<std::string> text = units::read_hand_written(path, path);
  if (!text) {
    throw BadInput(fmt::format(
        "{}: cannot read this file; `nocktrail effects --template > {}` writes one to fill in",
        path, path));
  }
  return parse_setup(*text, path);
}

std::string setup_template() {
  return R"(# A set-up for `nocktrail effects`. Every quantity is text with its unit:
# lengths in, mm, cm, m (fractions too: "5/16in", "28 1/2in"); masses gr, g; forces lb, N.
# hand = "right"                # the hand that draws: "right" or "left"; a --reading needs it

[bow]
draw_weight = "45lb"            # as marked, at the rated draw
rated_draw_length = "28in"      # AMO: nocking point to the grip's deepest point, plus 1 3/4 in
brace_height = "7.25in"         # string to the grip's deepest point
# string_mass = "115gr"         # weighed, servings and all
# What the bow's maker allows; leave out what you do not know.
brace_min = "6.75in"
brace_max = "7.75in"
# min_grains_per_pound = 8
# max_draw_length = "29in"      # AMO
# max_draw_weight = "50lb"      # held
# Face of the strike plate from the plane of the string: positive outside centre (toward the
# arrow), negative when the window is cut past centre.
plate_offset = "1/16in"
# Underside of the nocking point above square from the shelf; the nock sits beneath it.
nocking_point = "1/2in"

[archer]
draw_length = "28in"            # AMO

[arrow]                         # the bare shaft that you shoot at the test
shaft_length = "29in"           # nock throat to the end of the shaft, point not included
diameter = "0.30in"
# One of: spine = "0.500in" (ASTM deflection), wood_spine = "50lb", or youngs_modulus_gpa = 71
# with wall = "0.013in" (leave the wall out for a solid rod).
spine = "0.500in"
# One of: mass_per_length = "8.0gr/in", or shaft_mass = "232gr" (shaft alone, at this length).
mass_per_length = "8.0gr/in"
nock_mass = "10gr"
tip_mass = "125gr"              # point and insert together
# taper_length = "9in"          # a tapered tail, and its diameter at the nock
# taper_end_diameter = "5/16in"
)";
}

}  // namespace nocktrail::arrow
