// The JSON that hands a simulated shot on, against the simulation itself and against textbook
// kinematics: the history's end must be the state of which the flight's figures are made.
#include "nocktrail/arrow/exit_state_json.hpp"

#include <doctest/doctest.h>

#include <cmath>
#include <nlohmann/json.hpp>
#include <numbers>

#include "example_setups.hpp"
#include "nocktrail/error.hpp"

using namespace nocktrail::arrow;
using namespace nocktrail::arrow::examples;

TEST_CASE("exit state: the history ends where the free flight begins") {
  for (const auto hand : {nocktrail::Hand::right, nocktrail::Hand::left}) {
    Setup setup = longbow_with(arrow_a());
    setup.archer.hand = hand;
    const ExitState state = simulate_shot(setup);
    const nlohmann::json json = exit_state_json(setup);
    const auto& times = json["history"]["t_s"];
    const auto& rests = json["history"]["rest_from_nock_m"];
    const std::size_t last = times.size() - 1;
    // The nock runs the brace height off the string, at constant speed.
    CHECK(times[last].get<double>() ==
          doctest::Approx(state.exit_s + setup.bow.brace_height_m / state.speed_mps));
    CHECK(std::abs(rests[last].get<double>()) < 1e-9);
    CHECK(times.front() == 0.0);
    bool exit_seen = false;
    for (const char* name : {"lateral", "vertical"}) {
      const PlaneExit& exit = name[0] == 'l' ? state.lateral : state.vertical;
      const auto& plane = json[name];
      const auto& history = plane["history"];
      CHECK(plane["reference_offset_deg"] == exit.reference_offset_deg);
      for (std::size_t i = 0; i <= last; ++i) {
        if (std::abs(times[i].get<double>() - state.exit_s) < 1e-9) {
          exit_seen = true;
          CHECK(rests[i].get<double>() == doctest::Approx(setup.bow.brace_height_m));
          CHECK(history["axis_deg"][i].get<double>() == doctest::Approx(exit.axis_deg));
          CHECK(history["flex_nock_mm"][i].get<double>() == doctest::Approx(exit.flex_nock_mm));
        }
      }
      // Path by differences of the centre of mass over the last stretch before clear of the bow.
      const double run_mm =
          history["centre_mm"][last].get<double>() - history["centre_mm"][last - 3].get<double>();
      const double time_s = times[last].get<double>() - times[last - 3].get<double>();
      CHECK(std::atan(1e-3 * run_mm / time_s / state.speed_mps) * 180.0 / std::numbers::pi ==
            doctest::Approx(plane["clear_path_deg"].get<double>()).scale(1.0).epsilon(0.02));
      // The damped cosine, carried from the exit to clear of the bow, meets the simulated mode.
      const double omega = 2.0 * std::numbers::pi * state.flex_frequency_hz;
      const double t = times[last].get<double>() - state.exit_s;
      const double swing =
          plane["flex"]["amplitude_mm"].get<double>() *
          std::exp(-json["flex_damping_ratio"].get<double>() * omega * t) *
          std::cos(omega * t + plane["flex"]["phase_deg"].get<double>() * std::numbers::pi / 180.0);
      CHECK(swing == doctest::Approx(history["flex_nock_mm"][last].get<double>()).epsilon(1e-6));
      if (!exit.touched_after_exit) {
        CHECK(plane["flex"]["amplitude_mm"].get<double>() ==
              doctest::Approx(exit.flex_amplitude_mm).epsilon(0.02));
      }
    }
    CHECK(exit_seen);
  }
}

TEST_CASE("exit state: a shaft that folds is refused") {
  Setup setup = longbow_with(arrow_a());
  setup.arrow.shaft.ei_n_m2 *= 0.15;
  CHECK_THROWS_AS(exit_state_json(setup), nocktrail::BadInput);
}
