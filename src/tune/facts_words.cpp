#include "nocktrail/tune/facts_words.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numeric>

#include "nocktrail/units/units.hpp"

namespace nocktrail::tune {
namespace {

constexpr const char* kNotTold = "not told";

enum class Part { archer, bow, arrow, camera };

struct Fact {
  Part part;
  FactLine line;
  const char* brief;  // in a list, before the value; "" where the value says it itself
};

class Facts {
 public:
  explicit Facts(const SetupFacts& facts) {
    archer(facts);
    bow(facts.bow);
    arrow(facts.arrow);
    camera(facts.camera);
    words(Part::bow, "Nock height accepted as it is", "nock height accepted",
          facts.accepted_nock_height);
    words(Part::camera, "Notes", "notes", facts.notes);
  }
  std::vector<Fact> take() { return std::move(all_); }

 private:
  void words(Part part, const char* what, const char* brief, const std::string& value) {
    if (!value.empty()) {
      all_.push_back({part, {what, value}, brief});
    }
  }
  template <typename InWords>
  void number(Part part, const char* what, const char* brief, const std::optional<double>& value,
              InWords in_words) {
    if (value && std::isfinite(*value)) {
      words(part, what, brief, in_words(*value));
    }
  }
  void length(Part part, const char* what, const char* brief, const std::optional<double>& value) {
    number(part, what, brief, value, inches_and_mm);
  }
  void mass(Part part, const char* what, const char* brief, const std::optional<double>& value) {
    number(part, what, brief, value, [](double kg) {
      return fmt::format("{:.4g} gr ({:.3g} g)", kg / units::kKilogramsPerGrain, 1000.0 * kg);
    });
  }

  void archer(const SetupFacts& facts) {
    if (facts.hand != Hand::unknown) {
      words(Part::archer, "Hand", "", facts.hand == Hand::right ? "right-handed" : "left-handed");
    }
    number(Part::archer, "Cant", "cant", facts.cant_deg,
           [](double deg) { return fmt::format("{:.3g} deg", deg); });
    length(Part::archer, "Draw length (AMO)", "draw", facts.draw_m);
    number(Part::archer, "Rest to the butt's face", "butt at", facts.target_distance_m,
           [](double m) { return fmt::format("{:.4g} m", m); });
  }

  void bow(const BowFacts& bow) {
    words(Part::bow, "Bow", "", bow.name);
    if (bow.draw_weight_n && std::isfinite(*bow.draw_weight_n)) {
      const double rated = bow.rated_draw_m.value_or(28.0 * units::kMetresPerInch);
      words(Part::bow, "Draw weight", "",
            fmt::format("{:.4g} lb at {:.4g} in", *bow.draw_weight_n / units::kNewtonsPerPoundForce,
                        rated / units::kMetresPerInch));
    }
    words(Part::bow, "String", "string", bow.string);
    mass(Part::bow, "String, weighed", "string weighs", bow.string_mass_kg);
    length(Part::bow, "Brace height", "brace height", bow.brace_height_m);
    if (bow.brace_min_m && bow.brace_max_m && std::isfinite(*bow.brace_min_m) &&
        std::isfinite(*bow.brace_max_m)) {
      words(Part::bow, "Brace height, maker's range", "maker's range",
            fmt::format("{} to {}", inches_and_mm(*bow.brace_min_m),
                        inches_and_mm(*bow.brace_max_m)));
    }
    number(Part::bow, "Lightest arrow, maker's floor", "maker's floor", bow.min_grains_per_pound,
           [](double gpp) { return fmt::format("{:.3g} grains a pound", gpp); });
    length(Part::bow, "Greatest draw (AMO), maker's limit", "maker's draw", bow.max_draw_m);
    number(Part::bow, "Greatest weight held, maker's limit", "maker's weight",
           bow.max_draw_weight_n,
           [](double n) { return fmt::format("{:.4g} lb", n / units::kNewtonsPerPoundForce); });
    length(Part::bow, "Strike plate, outside the string's plane", "strike plate",
           bow.plate_offset_m);
    length(Part::bow, "Nocking point above square", "nocking point", bow.nocking_point_m);
  }

  void arrow(const ArrowFacts& arrow) {
    words(Part::arrow, "Arrow", "", arrow.name);
    if (arrow.fletching != Fletching::unknown) {
      words(Part::arrow, "Fletching", "", arrow.fletching == Fletching::bare ? "bare" : "fletched");
    }
    if (arrow.spine && std::isfinite(arrow.spine->value)) {
      words(Part::arrow, "Static spine", "spine",
            arrow.spine->convention == SpineConvention::deflection_in
                ? fmt::format("{:.3f} in deflection", arrow.spine->value)
                : fmt::format("{:.3g} lb (wood)", arrow.spine->value));
    }
    length(Part::arrow, "Shaft length, without the tip", "shaft", arrow.shaft_length_m);
    length(Part::arrow, "Arrow length, with the tip", "whole length", arrow.arrow_length_m);
    number(Part::arrow, "Shaft diameter", "diameter", arrow.diameter_m,
           [](double m) { return fmt::format("{:.2f} mm", 1000.0 * m); });
    number(Part::arrow, "Shaft mass", "", arrow.mass_per_length_kg_per_m, [](double kg_per_m) {
      return fmt::format("{:.3g} gr/in",
                         kg_per_m * units::kMetresPerInch / units::kKilogramsPerGrain);
    });
    mass(Part::arrow, "Tip weight", "tip", arrow.tip_mass_kg);
    mass(Part::arrow, "Nock weight", "nock", arrow.nock_mass_kg);
    mass(Part::arrow, "Fletching weight", "fletching", arrow.fletching_mass_kg);
    mass(Part::arrow, "Total mass", "whole arrow", arrow.total_mass_kg);
    length(Part::arrow, "Tapered tail", "tapered tail", arrow.taper_length_m);
    number(Part::arrow, "Diameter at the nock", "at the nock", arrow.taper_end_diameter_m,
           [](double m) { return fmt::format("{:.2f} mm", 1000.0 * m); });
  }

  void camera(const CameraTold& camera) {
    number(Part::camera, "Focal length", "", camera.focal_35mm,
           [](double mm) { return fmt::format("{:.3g} mm (35 mm equivalent)", mm); });
    number(Part::camera, "Filmed at", "", camera.capture_fps,
           [](double fps) { return fmt::format("{:.4g} frames a second", fps); });
  }

  std::vector<Fact> all_;
};

// "7 1/2 in" of "7 1/2 in (190.5 mm)".
std::string without_metric(const std::string& value) {
  const bool metric = value.ends_with(" mm)") || value.ends_with(" g)");
  return metric ? value.substr(0, value.rfind(" (")) : value;
}

std::string paragraph(const std::vector<Fact>& facts, Part part, const char* head) {
  std::string words;
  for (const Fact& fact : facts) {
    if (fact.part == part) {
      words += words.empty() ? fmt::format("{}: ", head) : std::string(", ");
      words +=
          *fact.brief == '\0' ? fact.line.value : fmt::format("{} {}", fact.brief, fact.line.value);
    }
  }
  return words;
}

}  // namespace

std::string inches_and_mm(double length_m) {
  constexpr long kParts = 64;
  constexpr double kNear_m = 0.00005;
  const double inches = std::abs(length_m) / units::kMetresPerInch;
  const char* sign = length_m < 0.0 ? "−" : "";
  std::string mm = fmt::format("{}{:.5g} mm", sign, 0.1 * std::round(1e4 * std::abs(length_m)));
  constexpr double kTooLong_in = 1e6;
  if (!(inches < kTooLong_in)) {
    return mm;
  }
  const long parts = std::lround(inches * static_cast<double>(kParts));
  if (std::abs(inches - static_cast<double>(parts) / kParts) * units::kMetresPerInch > kNear_m) {
    return fmt::format("{}{:.2f} in ({})", sign, inches, mm);
  }
  if (parts % kParts == 0) {
    return fmt::format("{}{} in ({})", sign, parts / kParts, mm);
  }
  const long common = std::gcd(parts % kParts, kParts);
  const std::string whole = parts >= kParts ? fmt::format("{} ", parts / kParts) : "";
  return fmt::format("{}{}{}/{} in ({})", sign, whole, parts % kParts / common, kParts / common,
                     mm);
}

std::string length_band_words(const arrow::Band& length_m) {
  const double width_in = (length_m.high95 - length_m.low95) / units::kMetresPerInch;
  const long parts = width_in > 0.5 ? 8 : 32;
  const auto rounded = [&](double value_m) {
    const double inches = value_m / units::kMetresPerInch;
    const std::string words = inches_and_mm(std::round(inches * static_cast<double>(parts)) /
                                            static_cast<double>(parts) * units::kMetresPerInch);
    return words.substr(0, words.find(" in ("));
  };
  return fmt::format("{} in (95 %: {} to {})", rounded(length_m.median), rounded(length_m.low95),
                     rounded(length_m.high95));
}

std::vector<FactLine> fact_lines(const SetupFacts& facts) {
  std::vector<FactLine> lines;
  for (Fact& fact : Facts(facts).take()) {
    lines.push_back(std::move(fact.line));
  }
  return lines;
}

// A set-up's notes are a remark on it, not a change of it.
static SetupFacts without_notes(SetupFacts facts) {
  facts.notes.clear();
  return facts;
}

std::vector<FactLine> changed_facts(const SetupFacts& before, const SetupFacts& facts) {
  const std::vector<FactLine> old_lines = fact_lines(without_notes(before));
  const std::vector<FactLine> new_lines = fact_lines(without_notes(facts));
  const auto value_in = [](const std::vector<FactLine>& lines, const std::string& what) {
    const auto found = std::find_if(lines.begin(), lines.end(),
                                    [&](const FactLine& line) { return line.what == what; });
    return found == lines.end() ? std::string(kNotTold) : found->value;
  };
  std::vector<FactLine> changed;
  for (const FactLine& line : new_lines) {
    const std::string was = value_in(old_lines, line.what);
    if (was == kNotTold) {
      changed.push_back({line.what, fmt::format("{} (not told before)", line.value)});
    } else if (line.value != was) {
      changed.push_back({line.what, fmt::format("{}, was {}", line.value, was)});
    }
  }
  for (const FactLine& line : old_lines) {
    if (value_in(new_lines, line.what) == kNotTold) {
      changed.push_back({line.what, fmt::format("not told, was {}", line.value)});
    }
  }
  return changed;
}

std::string changes_in_brief(const SetupFacts& before, const SetupFacts& facts) {
  const std::vector<FactLine> old_lines = fact_lines(before);
  const SetupFacts now = without_notes(facts);
  std::string words;
  for (const Fact& fact : Facts(now).take()) {
    const auto old = std::find_if(old_lines.begin(), old_lines.end(), [&](const FactLine& line) {
      return line.what == fact.line.what;
    });
    if (old != old_lines.end() && old->value == fact.line.value) {
      continue;
    }
    const std::string was = old == old_lines.end() ? "" : without_metric(old->value);
    words += fmt::format("{}{}{}{}{}", words.empty() ? "" : ", ", fact.brief,
                         *fact.brief == '\0' ? "" : " ", without_metric(fact.line.value),
                         was.empty() ? "" : fmt::format(" (was {})", was));
  }
  return words;
}

std::vector<std::string> particulars(const SetupFacts& facts) {
  const std::vector<Fact> all = Facts(facts).take();
  std::vector<std::string> paragraphs;
  const auto add = [&](Part part, const char* head) {
    std::string words = paragraph(all, part, head);
    if (!words.empty()) {
      paragraphs.push_back(std::move(words));
    }
  };
  add(Part::archer, "Archer");
  add(Part::bow, "Bow");
  add(Part::arrow, "Arrow");
  return paragraphs;
}

}  // namespace nocktrail::tune
