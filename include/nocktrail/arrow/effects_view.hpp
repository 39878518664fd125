// The answers of effects.hpp as text for a terminal, JSON for scripts and a plot in SVG.
#pragma once

#include <nlohmann/json_fwd.hpp>
#include <optional>
#include <string>
#include <vector>

#include "nocktrail/arrow/effects.hpp"

namespace nocktrail::arrow {

struct EffectsAnswer {
  Setup setup;
  std::string setup_name;  // as the user named it
  std::optional<MeasuredOffset> reading;
  // Why the set-up must not be shot as it is, whole sentences: limits (limits.hpp), and what the
  // reading itself forbids. While there is one, nothing is said of what is left to change.
  std::vector<std::string> stops;
  DrawSet draws;
  EffectsTable table;
  Outlook outlook;
  std::uint64_t seed = 0;
};

std::string effects_text(const EffectsAnswer& answer);
// Schema nocktrail.effects/1, described in docs/arrow-model.md.
nlohmann::json effects_json(const EffectsAnswer& answer);
// Lateral offset against shaft length with its 95 % band, and the reading on it.
std::string effects_svg(const EffectsAnswer& answer);

std::string starting_text(const Setup& setup, const StartingRange& range);
nlohmann::json starting_json(const Setup& setup, const StartingRange& range);

}  // namespace nocktrail::arrow
