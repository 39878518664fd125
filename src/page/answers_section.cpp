#include <fmt/format.h>

#include <algorithm>

#include "charts.hpp"
#include "html.hpp"
#include "numbers.hpp"
#include "sections.hpp"

namespace nocktrail::page {
namespace {

using tune::Quantity;

// Where the recommended step leads on the axis of `learned`, when it moves along it.
std::optional<double> led_to(const tune::Learned& learned, const Content& content) {
  const tune::Step& next = content.judgement.next;
  if (content.setups.empty() || !next.amount) {
    return std::nullopt;
  }
  const tune::SetupFacts& facts = content.setups.back().record->facts;
  const auto moved = [&](const std::optional<double>& now, double sign) -> std::optional<double> {
    return now ? std::optional(*now + sign * *next.amount) : std::nullopt;
  };
  switch (learned.quantity) {
    case Quantity::shaft_length:
      if (next.kind == StepKind::trim_shaft) {
        return moved(learned.whole_arrow ? facts.arrow.arrow_length_m : facts.arrow.shaft_length_m,
                     -1.0);
      }
      break;
    case Quantity::tip_mass:
      if (next.kind == StepKind::heavier_tip || next.kind == StepKind::lighter_tip) {
        return moved(facts.arrow.tip_mass_kg, next.kind == StepKind::heavier_tip ? 1.0 : -1.0);
      }
      break;
    case Quantity::nocking_point:
      if (next.kind == StepKind::lower_nocking_point ||
          next.kind == StepKind::raise_nocking_point) {
        return moved(facts.bow.nocking_point_m,
                     next.kind == StepKind::raise_nocking_point ? 1.0 : -1.0);
      }
      break;
    case Quantity::plate_offset:
      if (next.kind == StepKind::thinner_plate || next.kind == StepKind::thicker_plate) {
        return moved(facts.bow.plate_offset_m, next.kind == StepKind::thicker_plate ? 1.0 : -1.0);
      }
      break;
    case Quantity::brace_height:
    case Quantity::spine:
      break;
  }
  return std::nullopt;
}

std::string band_words(const arrow::Band& band, double factor) {
  if (!finite(band)) {
    return kMissing;
  }
  const double low = std::min(band.low95 * factor, band.high95 * factor);
  const double high = std::max(band.low95 * factor, band.high95 * factor);
  return fmt::format("{} ({} to {})", signed_number(band.median * factor, 2), signed_number(low, 2),
                     signed_number(high, 2));
}

void answer_words(pugi::xml_node parent, const tune::Learned& learned) {
  const QuantityUnit unit = unit_of(learned.quantity);
  const pugi::xml_node list = element(parent, "dl", {{"class", "facts"}});
  const auto fact = [&](const std::string& what, const std::string& value) {
    element(list, "dt", {}, what);
    element(list, "dd", {}, value);
  };
  fact(fmt::format("Answer to {} more", unit.step_name),
       band_words(learned.slope_deg_per_unit, unit.step_si) +
           (learned.prior             ? " deg, prior and shots together"
            : learned.data.size() > 1 ? " deg, common practice and shots together"
                                      : " deg, by common practice"));
  if (learned.prior_slope_deg_per_unit) {
    fact("Model's expectation",
         band_words(*learned.prior_slope_deg_per_unit, unit.step_si) + " deg");
  }
  if (learned.straight_at && finite(*learned.straight_at)) {
    fact("Straight at", fmt::format("{}; 95 %: {} to {}",
                                    quantity_words(learned.quantity, learned.straight_at->median),
                                    quantity_words(learned.quantity, learned.straight_at->low95),
                                    quantity_words(learned.quantity, learned.straight_at->high95)));
  } else {
    fact("Straight at", "not reached within what can be said");
  }
  if (!learned.prior_words.empty()) {
    element(parent, "p", {{"class", "soft"}}, learned.prior_words);
  }
}

// A curve is that of the latest set-up with one thing changed; the set-ups that are not on it are
// named, not passed over.
void left_out_words(pugi::xml_node parent, const tune::Learned& learned, const Content& content) {
  std::vector<std::string> names;
  for (const SetupView& setup : content.setups) {
    const std::string& name = setup.judged->name;
    if (std::none_of(learned.data.begin(), learned.data.end(),
                     [&](const tune::Learned::Point& point) { return point.setup == name; })) {
      names.push_back(name);
    }
  }
  if (!names.empty()) {
    element(parent, "p", {{"class", "soft"}},
            fmt::format("Not drawn on this curve: {} (not measured, not told, or more than this "
                        "differs from the latest set-up).",
                        fmt::join(names, ", ")));
  }
}

}  // namespace

void answers_section(pugi::xml_node parent, const Content& content) {
  if (content.judgement.learned.empty()) {
    element(parent, "p", {}, "Nothing has been changed yet that the offset could answer to.");
    return;
  }
  int number = 0;
  for (const tune::Learned& learned : content.judgement.learned) {
    element(parent, "h3", {},
            fmt::format("{} offset and {}", learned.vertical ? "Vertical" : "Lateral",
                        name_of(learned)));
    const pugi::xml_node halves = element(parent, "div", {{"class", "charts"}});
    answer_chart(halves, fmt::format("answer-{}", ++number), learned, content.setups,
                 led_to(learned, content), content.options.dead_band_deg);
    const pugi::xml_node words = element(halves, "div");
    answer_words(words, learned);
    if (!learned.data.empty()) {
      const pugi::xml_node body =
          table(words, fmt::format("Measured offset (deg) by {}", name_of(learned)),
                {"Set-up", "At", "Offset"});
      for (const tune::Learned::Point& point : learned.data) {
        row(body, {point.setup, quantity_words(learned.quantity, point.at),
                   offset_cell(point.offset_deg, learned.vertical)});
      }
      left_out_words(words, learned, content);
    }
  }
}

}  // namespace nocktrail::page
