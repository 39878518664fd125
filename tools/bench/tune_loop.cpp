// The closed loop over random bows and archers: advice, changed set-up, simulated shots, advice
// again. Prints the table of docs/tuning.md.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <chrono>
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <string>

#include "nocktrail/arrow/unknowns.hpp"
#include "nocktrail/rules/words.hpp"
#include "tune/simulated_archer.hpp"

namespace {

using namespace nocktrail;

std::string spine_words(const tune::ArrowFacts& arrow) {
  return arrow.spine->convention == tune::SpineConvention::wood_pounds
             ? fmt::format("{:.0f} lb", arrow.spine->value)
             : fmt::format("{:.3f} in", arrow.spine->value);
}

}  // namespace

int main(int argc, char** argv) {
  CLI::App app{"The tuning advice followed over random bows and archers"};
  std::uint64_t seed = 1;
  int bows = 50;
  int first = 1;
  int steps = 25;
  bool history = false;
  bool untold = false;
  bool plain = false;
  tune::simulated::World world;
  tune::JudgementOptions options;
  app.add_option("--seed", seed, "Of bows, archers and shots");
  app.add_option("--bows", bows, "How many");
  app.add_option("--first", first, "Number of the first: a table can be made in pieces");
  app.add_option("--steps", steps, "At most, for each");
  app.add_option("--draws", options.draws, "Of the judgement's prior");
  app.add_flag("--history", history, "The steps of each, with the true offsets after them");
  app.add_flag("--spine-untold", untold, "The judgement has no arrow model to lean on");
  app.add_option("--spread", world.spread, "Of the archers' unknowns, over the prior's");
  app.add_option("--answer", world.answer, "Of the bow to a change, over the model's");
  app.add_option("--shift", world.shift_deg, "Of the bow from the model, to either side, deg");
  app.add_option("--string-side", world.string_side,
                 "Side stiffness of the string, over the middle");
  app.add_option("--string-mass", world.string_side_mass, "Mass that swings with it, likewise");
  app.add_flag("--reader", world.reader_as_measured,
               "Up and down read as from behind: 0.5 to 1 deg");
  app.add_option("--shared", world.shared, "Part of the reading's variance that all shots share");
  app.add_option("--flyers", world.flyers, "Share of shots that fly off by 4 deg");
  app.add_option("--touches", world.touches, "Share of shots that touch the bow");
  app.add_flag("--from-side", world.from_side, "Four more shots from the side where they tell");
  app.add_flag("--plain", plain, "By the plain rule instead of the program");
  CLI11_PARSE(app, argc, argv);

  world.spine_told = !untold;
  fmt::print("Seed {}, {} bows, at most {} steps, {} draws{}, spread {:g}.\n\n", seed, bows, steps,
             options.draws, untold ? ", spine untold" : "", world.spread);
  fmt::print(
      "| bow | hand | draw weight | spine | scatter | start: length, sideways, up | steps | trims "
      "| "
      "shots | finish: length | sideways | up | said done | overshot | past a limit |\n"
      "|---|---|---|---|---|---|---|---|---|---|---|---|---|---|---|\n");
  int straight = 0;
  int level = 0;
  int level_or_said = 0;
  int mean_held = 0;
  long shots = 0;
  int overshot = 0;
  int past = 0;
  int finished = 0;
  double square = 0.0;
  long all_steps = 0;
  long judged = 0;
  const auto begin = std::chrono::steady_clock::now();
  for (int i = first - 1; i < first - 1 + bows; ++i) {
    const std::uint64_t own = seed * 1000003 + static_cast<std::uint64_t>(i);
    const tune::simulated::LoopResult loop =
        plain ? tune::simulated::run_plain_rule(own, steps, world)
              : tune::simulated::run_loop(own, options, steps, world);
    const auto yes = [](bool value) { return value ? "yes" : "no"; };
    const auto inches = [](const std::optional<double>& length_m) {
      return *length_m / units::kMetresPerInch;
    };
    fmt::print(
        "| {} | {} | {:.0f} lb | {} | {:.2f} | {:.2f} in, {:+.1f}, {:+.1f} | {} | {} | {} | {:.2f} "
        "in "
        "| {:+.2f} | {:+.2f} | {} | {} | {} |\n",
        i + 1, loop.start.hand == Hand::left ? "left" : "right",
        *loop.start.bow.draw_weight_n / units::kNewtonsPerPoundForce, spine_words(loop.start.arrow),
        loop.scatter_deg, inches(loop.start.arrow.shaft_length_m), loop.at_start.stiff_deg,
        loop.at_start.nock_high_deg, loop.steps, loop.trims, loop.shots,
        inches(loop.finish.arrow.shaft_length_m), loop.at_finish.stiff_deg,
        loop.at_finish.nock_high_deg, yes(loop.finished), yes(loop.overshot),
        yes(loop.past_a_limit));
    if (history) {
      fmt::print("  {}\n", loop.history);
    }
    std::fflush(stdout);
    straight += std::abs(loop.at_finish.stiff_deg) < 0.5 ? 1 : 0;
    const bool is_level = std::abs(loop.at_finish.nock_high_deg) < 0.5;
    level += is_level ? 1 : 0;
    level_or_said += is_level || loop.open_up_and_down ? 1 : 0;
    mean_held += loop.mean_held ? 1 : 0;
    shots += loop.shots;
    overshot += loop.overshot ? 1 : 0;
    past += loop.past_a_limit ? 1 : 0;
    finished += loop.finished ? 1 : 0;
    square += loop.at_finish.stiff_deg * loop.at_finish.stiff_deg;
    all_steps += loop.steps;
    judged += loop.steps + 1;
  }
  const double seconds =
      std::chrono::duration<double>(std::chrono::steady_clock::now() - begin).count();
  fmt::print(
      "\nStraight (|sideways| < 0.5 deg): {} of {}; level (|up| < 0.5 deg): {}, or said that it "
      "cannot be settled: {}; said done: {}; "
      "overshot: {}; past a limit: {}; shots in the mean: {:.1f}; the last mean held: {}. Sideways "
      "at the end {:.2f} deg root mean square; {:.1f} "
      "steps in the mean.\n",
      straight, bows, level, level_or_said, finished, overshot, past,
      static_cast<double>(shots) / bows, mean_held, std::sqrt(square / bows),
      static_cast<double>(all_steps) / bows);
  fmt::print(stderr, "{:.0f} s, {:.2f} s a judgement\n", seconds,
             seconds / static_cast<double>(judged));
}
