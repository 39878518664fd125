// An invented archer shoots the set-ups of a session folder: the shots come from the arrow model
// with unknowns that belong to this archer, and vary a little from shot to shot.
#pragma once

#include <cstdint>
#include <filesystem>
#include <nlohmann/json_fwd.hpp>
#include <string>
#include <vector>

#include "nocktrail/arrow/power_stroke.hpp"
#include "nocktrail/session/session.hpp"

namespace worked {

// Degrees, in the frame of the bow: nock to the shooter's right, nock high.
struct Offsets {
  double lateral_deg = 0.0;
  double vertical_deg = 0.0;
};

struct SimulatedShot {
  nocktrail::arrow::Setup setup;
  nocktrail::arrow::Unknowns unknowns;
  Offsets offsets;
};

// What the archer's shots at a set-up come to in the long run.
struct LongRun {
  Offsets mean;
  Offsets scatter;  // standard deviations
};

class Archer {
 public:
  // `self` is who the archer is, `seed` what the shots of the day are.
  Archer(std::uint64_t self, std::uint64_t seed);

  // The `index`-th shot at the `setup`-th set-up; the same numbers, the same shot.
  SimulatedShot shot(const nocktrail::tune::SetupFacts& facts, std::size_t setup,
                     std::size_t index) const;
  LongRun long_run(const nocktrail::tune::SetupFacts& facts, std::size_t setup) const;

 private:
  std::uint64_t seed_;
  nocktrail::arrow::Unknowns own_;
};

// What the clip maker is to draw about the shot: the archer's place and bow, which stay, and the
// friend's hand-held camera, which is never twice the same. For `nocktrail_clipmaker --spec`.
nlohmann::json clip_spec(const nocktrail::tune::SetupFacts& facts, std::uint64_t seed,
                         std::size_t setup, std::size_t index);

// The same, filmed by a phone that stands alone beside the line, at the arrow's height.
nlohmann::json clip_spec_from_side(const nocktrail::tune::SetupFacts& facts, std::uint64_t seed,
                                   std::size_t setup, std::size_t index);

}  // namespace worked
