// `nocktrail effects`: what each change to a set-up does, as table, JSON and plot.
#pragma once

#include <cstddef>
#include <cstdint>
#include <optional>
#include <string>

namespace CLI {
class App;
}

namespace nocktrail::cli {

struct EffectsArguments {
  std::string setup_path;
  std::optional<double> reading_deg;
  std::optional<double> u95_deg;
  std::string json_path;  // "-" is stdout
  std::string plot_path;
  std::string exit_state_path;  // likewise; asked for, nothing else is written
  std::size_t draws = 200;
  std::uint64_t seed = 1;
  bool print_template = false;
  bool start = false;
};

// Adds the subcommand and binds its options to `arguments`, which must outlive the parse.
CLI::App* add_effects_command(CLI::App& app, EffectsArguments& arguments);

// Exit status: 0 done. Throws BadInput for what the user can mend (the caller prints its line and
// returns 2).
int run_effects(const EffectsArguments& arguments);

}  // namespace nocktrail::cli
