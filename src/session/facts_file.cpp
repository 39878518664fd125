#include "nocktrail/session/facts_file.hpp"

#include <fmt/format.h>

#include <array>
#include <charconv>
#include <cmath>
#include <limits>

#include "facts_consistency.hpp"
#include "nocktrail/arrow/spine.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/units/toml_table.hpp"
#include "nocktrail/units/units.hpp"
#include "phone_focal.hpp"

namespace nocktrail::session {
namespace {

using Table = units::TomlTable;
using units::kKilogramsPerGrain;
using units::kMetresPerInch;
using units::kNewtonsPerPoundForce;

// Where a misspelt or misplaced field may have belonged.
constexpr std::array<std::string_view, 38> kFields = {"hand",
                                                      "cant",
                                                      "target_distance",
                                                      "notes",
                                                      "accept_nock_height",
                                                      "bow.name",
                                                      "bow.string",
                                                      "bow.string_mass",
                                                      "bow.draw_weight",
                                                      "bow.rated_draw_length",
                                                      "bow.brace_height",
                                                      "bow.brace_min",
                                                      "bow.brace_max",
                                                      "bow.min_grains_per_pound",
                                                      "bow.max_draw_length",
                                                      "bow.max_draw_weight",
                                                      "bow.plate_offset",
                                                      "bow.nocking_point",
                                                      "archer.draw_length",
                                                      "arrow.name",
                                                      "arrow.spine",
                                                      "arrow.wood_spine",
                                                      "arrow.youngs_modulus_gpa",
                                                      "arrow.wall",
                                                      "arrow.shaft_length",
                                                      "arrow.arrow_length",
                                                      "arrow.diameter",
                                                      "arrow.mass_per_length",
                                                      "arrow.shaft_mass",
                                                      "arrow.tip_mass",
                                                      "arrow.nock_mass",
                                                      "arrow.total_mass",
                                                      "arrow.fletching",
                                                      "arrow.fletching_mass",
                                                      "camera.focal_35mm",
                                                      "camera.picture_width",
                                                      "camera.capture_fps",
                                                      "camera.phone"};

// Some pages.
constexpr std::size_t kLongestNotes = 20000;

// What is possible, in the archer's unit. Wide, as in arrow::check_setup: they stop slips of the
// unit or the decimal point.
struct Range {
  double low;
  double high;
  const char* unit;
  double si_per_unit;
};
constexpr Range inches(double low, double high) {
  return {low, high, "in", kMetresPerInch};
}
constexpr Range grains(double low, double high) {
  return {low, high, "gr", kKilogramsPerGrain};
}

void require(const Table& table, const std::string& key, double value_si, const Range& range) {
  const double value = value_si / range.si_per_unit;
  // Half a part in a million: "36in" and its like must not fall to rounding.
  const double slack = 5e-7 * std::abs(range.high);
  if (!(value >= range.low - slack && value <= range.high + slack)) {  // NaN too
    table.fail(key, fmt::format(": {:.4g}{} is not possible; give {:g} to {:g}{}", value,
                                range.unit, range.low, range.high, range.unit));
  }
}

// Sets `target` where the file says `key`; true if it does.
template <typename Parse>
bool take(Table& table, const std::string& key, Parse parse, const Range& range,
          std::optional<double>& target) {
  const std::optional<double> value = table.quantity(key, parse);
  if (value) {
    require(table, key, *value, range);
    target = value;
  }
  return value.has_value();
}

bool take_number(Table& table, const std::string& key, double low, double high, const char* unit,
                 std::optional<double>& target) {
  const std::optional<double> value = table.number(key);
  if (value) {
    require(table, key, *value, {low, high, unit, 1.0});
    target = value;
  }
  return value.has_value();
}

void take_words(Table& table, const std::string& key, std::string& target) {
  target = table.words(key).value_or(target);
}

void take_hand(Table& table, Hand& hand) {
  const std::optional<std::string> word = table.words("hand");
  if (!word) {
    return;
  }
  if (*word != "right" && *word != "left") {
    table.fail(
        "hand",
        fmt::format(": \"{}\" is neither \"right\" nor \"left\", the hand that draws", *word));
  }
  hand = *word == "left" ? Hand::left : Hand::right;
}

void take_cant(Table& table, std::optional<double>& cant_deg) {
  if (const std::optional<double> told = table.angle_deg("cant")) {
    require(table, "cant", *told, {-90.0, 90.0, " deg", 1.0});
    cant_deg = told;
  }
}

void take_camera(Table& table, std::optional<double>& focal_35mm,
                 std::optional<double>& capture_fps) {
  if (const std::optional<double> told = told_focal_35mm(table)) {
    focal_35mm = told;
  }
  take_number(table, "capture_fps", 1.0, 2000.0, " frames a second", capture_fps);
}

// Names differ by more than capitals and blanks.
std::string folded(const std::string& name) {
  std::string out;
  for (const char c : name) {
    if (c != ' ') {
      out += c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
    }
  }
  return out;
}

void read_bow(Table table, tune::SetupFacts& facts) {
  tune::BowFacts& bow = facts.bow;
  const tune::BowFacts before = bow;
  take_words(table, "name", bow.name);
  if (!before.name.empty() && !bow.name.empty() && folded(bow.name) != folded(before.name)) {
    // Another bow: nothing that was told of the one before holds, its maker's limits least of all;
    // and one that was named before is what it was.
    const std::string name = bow.name;
    const auto known =
        std::find_if(facts.bows_before.begin(), facts.bows_before.end(),
                     [&](const tune::BowFacts& one) { return folded(one.name) == folded(name); });
    bow = known == facts.bows_before.end() ? tune::BowFacts{} : *known;
    bow.name = name;
    facts.bows_before.push_back(before);
  }
  const std::string string_before = bow.string;
  take_words(table, "string", bow.string);
  if (!string_before.empty() && folded(bow.string) != folded(string_before)) {
    bow.string_mass_kg.reset();  // of the string before
  }
  take(table, "string_mass", units::parse_mass_kg, grains(30.0, 400.0), bow.string_mass_kg);
  take(table, "draw_weight", units::parse_draw_weight_n, {10.0, 150.0, "lb", kNewtonsPerPoundForce},
       bow.draw_weight_n);
  take(table, "rated_draw_length", units::parse_length_m, inches(20.0, 34.0), bow.rated_draw_m);
  take(table, "brace_height", units::parse_length_m, inches(4.0, 11.0), bow.brace_height_m);
  take(table, "brace_min", units::parse_length_m, inches(4.0, 11.0), bow.brace_min_m);
  take(table, "brace_max", units::parse_length_m, inches(4.0, 11.0), bow.brace_max_m);
  take_number(table, "min_grains_per_pound", 4.0, 16.0, "gr/lb", bow.min_grains_per_pound);
  take(table, "max_draw_length", units::parse_length_m, inches(20.0, 36.0), bow.max_draw_m);
  take(table, "max_draw_weight", units::parse_draw_weight_n,
       {10.0, 200.0, "lb", kNewtonsPerPoundForce}, bow.max_draw_weight_n);
  take(table, "plate_offset", units::parse_length_m, inches(-0.5, 1.0), bow.plate_offset_m);
  take(table, "nocking_point", units::parse_length_m, inches(-1.0, 2.0), bow.nocking_point_m);
  table.refuse_unknown(kFields);
  if (bow.brace_min_m && bow.brace_max_m && *bow.brace_min_m > *bow.brace_max_m) {
    table.fail(table.has("brace_min") ? "brace_min" : "brace_max",
               fmt::format(": the range is upside down, from {} to {}; exchange brace_min and "
                           "brace_max",
                           units::format_length(*bow.brace_min_m, units::LengthUnit::in, 5),
                           units::format_length(*bow.brace_max_m, units::LengthUnit::in, 5)));
  }
}

// The stiffness, from whichever of the three ways of saying it is there.
void read_spine(Table& table, tune::ArrowFacts& arrow) {
  const Range deflections = inches(0.15, 2.0);  // ASTM F2031
  const auto deflection_m = table.quantity("spine", units::parse_deflection_m);
  const auto pounds_n = table.quantity("wood_spine", units::parse_force_n);
  const auto modulus_gpa = table.number("youngs_modulus_gpa");
  const auto wall_m = table.quantity("wall", units::parse_length_m);
  if (deflection_m) {
    require(table, "spine", *deflection_m, deflections);
    arrow.spine = {tune::SpineConvention::deflection_in, *deflection_m / kMetresPerInch};
    arrow.groups = arrow::SpineGroups::deflection;
  }
  if (pounds_n) {
    if (deflection_m) {
      table.fail("wood_spine", " contradicts arrow.spine; keep the one that you measured by");
    }
    require(table, "wood_spine", *pounds_n, {15.0, 210.0, "lb", kNewtonsPerPoundForce});
    arrow.spine = {tune::SpineConvention::wood_pounds, *pounds_n / kNewtonsPerPoundForce};
    arrow.groups = arrow::SpineGroups::pounds;
  }
  if (modulus_gpa) {
    if (deflection_m || pounds_n) {
      table.fail("youngs_modulus_gpa",
                 fmt::format(" contradicts arrow.{}; keep the one that you measured by",
                             deflection_m ? "spine" : "wood_spine"));
    }
    require(table, "youngs_modulus_gpa", *modulus_gpa, {1.0, 500.0, " GPa", 1.0});
    if (!arrow.diameter_m) {
      table.fail("youngs_modulus_gpa", " needs arrow.diameter; add it, or give arrow.spine");
    }
    const double wall = wall_m.value_or(*arrow.diameter_m);
    if (!(wall > 0.0)) {
      table.fail("wall", " must be above zero");
    }
    const double astm_in =
        arrow::astm_deflection_in(arrow::ei_of_tube(1e9 * *modulus_gpa, *arrow.diameter_m, wall));
    require(table, "youngs_modulus_gpa", astm_in,
            {deflections.low, deflections.high, "in of spine (ASTM F2031)", 1.0});
    arrow.spine = {tune::SpineConvention::deflection_in, astm_in};
    arrow.groups = arrow::SpineGroups::deflection;
  } else if (wall_m) {
    table.fail("wall", " belongs to arrow.youngs_modulus_gpa, which is not here");
  }
}

void read_mass_per_length(Table& table, tune::ArrowFacts& arrow) {
  const Range range{3.0, 30.0, "gr/in", kKilogramsPerGrain / kMetresPerInch};
  const bool by_length = take(table, "mass_per_length", units::parse_mass_per_length_kg_per_m,
                              range, arrow.mass_per_length_kg_per_m);
  const auto whole_kg = table.quantity("shaft_mass", units::parse_mass_kg);
  if (!whole_kg) {
    return;
  }
  if (by_length) {
    table.fail("shaft_mass", " contradicts arrow.mass_per_length; keep one of them");
  }
  if (!arrow.shaft_length_m) {
    table.fail("shaft_mass", " needs arrow.shaft_length, the length that was weighed");
  }
  arrow::ArrowBuild bare;
  bare.shaft.length_m = *arrow.shaft_length_m;
  bare.shaft.mass_per_length_kg_per_m = 1.0;
  bare.shaft.diameter_m = arrow.diameter_m.value_or(1.0);
  if (arrow.taper_length_m && arrow.taper_end_diameter_m && arrow.diameter_m) {
    // Of a tapered shaft the full part is heavier than the mean.
    bare.shaft.taper_length_m = *arrow.taper_length_m;
    bare.shaft.taper_end_diameter_m = *arrow.taper_end_diameter_m;
  }
  arrow.mass_per_length_kg_per_m = *whole_kg / arrow::mass_properties(bare).mass_kg;
  require(table, "shaft_mass", *arrow.mass_per_length_kg_per_m, range);
}

void read_fletching(Table& table, tune::ArrowFacts& arrow) {
  const bool mass_told = take(table, "fletching_mass", units::parse_mass_kg, grains(0.0, 100.0),
                              arrow.fletching_mass_kg);
  const bool has_mass = arrow.fletching_mass_kg.value_or(0.0) > 0.0;
  const std::optional<std::string> word = table.words("fletching");
  if (word && *word != "bare" && *word != "fletched") {
    table.fail("fletching", fmt::format(": \"{}\" is neither \"bare\" nor \"fletched\"", *word));
  }
  if (word == "bare" && mass_told && has_mass) {
    table.fail("fletching_mass", " contradicts fletching = \"bare\"; leave one of them out");
  }
  if (word) {
    arrow.fletching = *word == "bare" ? tune::Fletching::bare : tune::Fletching::fletched;
  } else if (mass_told) {
    arrow.fletching = has_mass ? tune::Fletching::fletched : tune::Fletching::bare;
  }
  if (arrow.fletching == tune::Fletching::bare) {
    arrow.fletching_mass_kg.reset();
  }
}

void read_arrow(Table table, tune::ArrowFacts& arrow) {
  const tune::ArrowFacts before = arrow;
  ArrowTold told;
  take_words(table, "name", arrow.name);
  told.shaft_length =
      take(table, "shaft_length", units::parse_length_m, inches(20.0, 36.0), arrow.shaft_length_m);
  told.arrow_length = take(table, "arrow_length", units::parse_length_m, {0.4, 1.1, "m", 1.0},
                           arrow.arrow_length_m);
  told.diameter =
      take(table, "diameter", units::parse_length_m, inches(0.15, 0.5), arrow.diameter_m);
  take(table, "taper_length", units::parse_length_m, inches(0.0, 36.0), arrow.taper_length_m);
  take(table, "taper_end_diameter", units::parse_length_m, inches(0.15, 0.5),
       arrow.taper_end_diameter_m);
  read_spine(table, arrow);
  told.spine = table.has("spine") || table.has("wood_spine") || table.has("youngs_modulus_gpa");
  read_mass_per_length(table, arrow);
  told.shaft_mass = table.has("mass_per_length") || table.has("shaft_mass");
  take(table, "tip_mass", units::parse_mass_kg, grains(20.0, 500.0), arrow.tip_mass_kg);
  take(table, "nock_mass", units::parse_mass_kg, grains(0.0, 60.0), arrow.nock_mass_kg);
  read_fletching(table, arrow);
  told.total_mass =
      take(table, "total_mass", units::parse_mass_kg, grains(100.0, 2000.0), arrow.total_mass_kg);
  table.refuse_unknown(kFields);

  carry_along(before, told, arrow);
  if (const std::optional<Contradiction> found = contradiction_in(arrow)) {
    // Blames the field that this file changed.
    for (const char* key : found->fields) {
      if (table.has(key)) {
        table.fail(key, found->message);
      }
    }
    table.fail(found->fields.front(), found->message);
  }
}

void read_camera(Table table, const Phones& phones, tune::CameraTold& camera) {
  take_camera(table, camera.focal_35mm, camera.capture_fps);
  const bool own_focal = table.has("focal_35mm") || table.has("picture_width");
  const std::optional<std::string> phone = table.words("phone");
  table.refuse_unknown(kFields);
  if (phone) {
    camera.phone = *phone;
    if (!own_focal) {
      camera.focal_35mm = focal_of(table, *phone, phones);
    }
  } else if (own_focal) {
    camera.phone.clear();
  }
}

ClipTold read_clip_table(Table table, const std::string& name, const std::string& field) {
  ClipTold clip;
  clip.name = name;
  clip.field = field;
  const std::size_t mark = name.rfind('#');
  if (mark != std::string::npos) {
    const char* end = name.data() + name.size();
    int shot = 0;
    const auto [stop, error] = std::from_chars(name.data() + mark + 1, end, shot);
    if (error == std::errc() && stop == end && shot > 0) {
      clip.name = name.substr(0, mark);
      clip.shot = shot;
    }
  }
  if (const auto reason = table.words("drop")) {
    if (reason->find_first_not_of(" \t\r\n") == std::string::npos) {
      table.fail("drop", " must give the reason, for example drop = \"plucked\"");
    }
    clip.dropped = *reason;
  }
  if (clip.shot == 0) {
    take_hand(table, clip.hand);
    take_cant(table, clip.cant_deg);
    take_camera(table, clip.focal_35mm, clip.capture_fps);
  }
  table.refuse_unknown();
  return clip;
}

}  // namespace

FactsTold parse_facts(std::string_view toml, std::string_view source, FactsKind kind,
                      const tune::SetupFacts& before, const Phones& phones) {
  Table root = Table::parse(toml, source);
  FactsTold told;
  told.facts = before;
  if (kind == FactsKind::session) {
    take_words(root, "name", told.name);
    take_words(root, "made_up", told.made_up);
  }
  told.facts.notes.clear();
  told.facts.accepted_nock_height.clear();
  if (kind != FactsKind::profile) {
    told.facts.notes = root.words("notes", kLongestNotes).value_or("");
    take_words(root, "accept_nock_height", told.facts.accepted_nock_height);
  }
  take_hand(root, told.facts.hand);
  take_cant(root, told.facts.cant_deg);
  take(root, "target_distance", units::parse_length_m, {3.0, 100.0, "m", 1.0},
       told.facts.target_distance_m);
  std::optional<Table> bow = root.inner("bow");
  std::optional<Table> archer = root.inner("archer");
  std::optional<Table> arrow = root.inner("arrow");
  std::optional<Table> camera = root.inner("camera");
  std::optional<Table> clips;
  if (kind != FactsKind::profile) {
    clips = root.inner("clip");
  }
  root.refuse_unknown(kFields);
  if (bow) {
    read_bow(*bow, told.facts);
  }
  if (archer) {
    take(*archer, "draw_length", units::parse_length_m, inches(20.0, 34.0), told.facts.draw_m);
    archer->refuse_unknown(kFields);
  }
  if (arrow) {
    // Told once for all, it would hide that a shaft is shot bare, and what forbids that.
    for (const char* field : {"fletching", "fletching_mass"}) {
      if (kind == FactsKind::profile && arrow->has(field)) {
        arrow->fail(field, " is told by a session alone; write it into its session.toml");
      }
    }
    read_arrow(*arrow, told.facts.arrow);
  }
  if (camera) {
    read_camera(*camera, phones, told.facts.camera);
  }
  if (clips) {
    for (const std::string& name : clips->keys()) {
      if (const std::optional<Table> clip = clips->inner(name)) {
        told.clips.push_back(read_clip_table(*clip, name, clips->field(name)));
      }
    }
  }
  return told;
}

}  // namespace nocktrail::session
