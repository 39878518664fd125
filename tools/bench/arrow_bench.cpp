// Times the arrow room: one power stroke, a whole table of effects. Prints figures; judges nothing.
#include <fmt/format.h>

#include <chrono>
#include <thread>

#include "nocktrail/arrow/effects.hpp"
#include "nocktrail/arrow/setup_file.hpp"

namespace {

template <typename Work>
double seconds(Work&& work) {
  const auto start = std::chrono::steady_clock::now();
  work();
  return std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
}

}  // namespace

int main() {
  using namespace nocktrail::arrow;
  const Setup setup = parse_setup(setup_template(), "template");
  constexpr int kRuns = 200;
  double sink = 0.0;
  const auto strokes = [&](const StrokeOptions& options) {
    return 1e3 / kRuns * seconds([&] {
             for (int i = 0; i < kRuns; ++i) {
               sink += simulate_shot(setup, {}, options).lateral.reference_offset_deg;
             }
           });
  };
  fmt::print("one power stroke, both planes      {:8.3f} ms (asked: at most 20)\n", strokes({}));
  StrokeOptions lateral;
  lateral.vertical = false;
  fmt::print("one power stroke, lateral plane    {:8.3f} ms\n", strokes(lateral));
  fmt::print("free modes of one arrow            {:8.3f} ms\n",
             1e3 / kRuns * seconds([&] {
               for (int i = 0; i < kRuns; ++i) {
                 sink += BeamModes(setup.arrow).frequency_hz(1);
               }
             }));

  const EffectsOptions options;
  DrawSet draws;
  fmt::print("cores                              {:8}\n", std::thread::hardware_concurrency());
  fmt::print("pick {} draws for a reading       {:8.2f} s\n", options.draws, seconds([&] {
               draws = draw_set(setup, MeasuredOffset{-2.0, 0.6}, options);
             }));
  fmt::print("table of effects, {} draws        {:8.2f} s (asked: at most 20)\n", options.draws,
             seconds([&] { sink += effects_table(setup, draws, options).nock_right_deg.median; }));
  fmt::print("curve and what remains             {:8.2f} s\n",
             seconds([&] { sink += outlook(setup, draws, options).trim.amount.median; }));
  fmt::print("starting range                     {:8.2f} s\n",
             seconds([&] { sink += starting_range(setup, draws, options).low80_in; }));
  return sink > 1e9 ? 1 : 0;  // keeps the work from being optimised away
}
