#include "effects_command.hpp"

#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <cmath>
#include <cstdio>
#include <filesystem>
#include <nlohmann/json.hpp>

#include "nocktrail/arrow/effects_view.hpp"
#include "nocktrail/arrow/exit_state_json.hpp"
#include "nocktrail/arrow/limits.hpp"
#include "nocktrail/arrow/setup_file.hpp"
#include "nocktrail/desk/own_files.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/report/atomic_file.hpp"
#include "nocktrail/report/lines.hpp"
#include "nocktrail/rules/before_change.hpp"
#include "terminal.hpp"

namespace nocktrail::cli {
namespace {

// A reading is refused by the contract above 1.5 deg; ten times that is a slip.
constexpr double kMostU95_deg = 15.0;
constexpr double kMostReading_deg = 45.0;
constexpr std::size_t kFewestDraws = 20;
constexpr std::size_t kMostDraws = 20000;

std::optional<arrow::MeasuredOffset> measured_offset(const EffectsArguments& arguments) {
  if (arguments.reading_deg.has_value() != arguments.u95_deg.has_value()) {
    throw BadInput("--reading and --u95 go together: both in degrees, as `nocktrail read` prints");
  }
  if (!arguments.reading_deg) {
    return std::nullopt;
  }
  if (!std::isfinite(*arguments.reading_deg) ||
      std::abs(*arguments.reading_deg) > kMostReading_deg) {
    throw BadInput(fmt::format("--reading: {:g} is not possible; give -{:g} to {:g} degrees",
                               *arguments.reading_deg, kMostReading_deg, kMostReading_deg));
  }
  if (!(*arguments.u95_deg > 0.0) || *arguments.u95_deg > kMostU95_deg) {
    throw BadInput(fmt::format(
        "--u95: {:g} is not possible; give half the 95 % interval, above 0 and up to {:g} degrees",
        *arguments.u95_deg, kMostU95_deg));
  }
  return arrow::MeasuredOffset{*arguments.reading_deg, *arguments.u95_deg};
}

// For people, as wide as their terminal.
void print_text(const std::string& text) {
  fmt::print("{}", report::lines(text, text_columns(0)));
}

// JSON to its place; true when stdout is taken by it.
bool write_json(const std::string& path, const nlohmann::json& document) {
  if (path.empty()) {
    return false;
  }
  const std::string text = document.dump(2) + "\n";
  if (path == "-") {
    fmt::print("{}", text);
    return true;
  }
  report::write_file_whole(path, text);
  return false;
}

// Why the set-up must not be shot as it is: its limits, and a bare shaft's reading.
std::vector<std::string> stops_of(const arrow::Setup& setup,
                                  const std::optional<arrow::MeasuredOffset>& reading) {
  std::vector<std::string> words;
  for (const arrow::Caution& stop : arrow::stops(arrow::limit_facts(setup))) {
    words.push_back(arrow::stop_words(stop));
  }
  if (reading) {
    rules::Evidence evidence;
    evidence.lat_deg = Measured{reading->nock_right_deg, reading->u95_deg};
    evidence.fletched = setup.arrow.fletching_mass_kg > 0.0;
    evidence.bare = !evidence.fletched;
    if (const auto stop = rules::stop_for_mismatch(evidence)) {
      words.push_back(stop->words);
    }
  }
  return words;
}

// Before anything is computed.
void check_outputs(const EffectsArguments& arguments) {
  session::OutputCheck check = desk::own_files();
  check.keep(arguments.setup_path, "the set-up's file");
  const auto json = [&](const char* option, const std::string& path, const char* schema) {
    if (!path.empty() && path != "-") {
      check.check(option, path, session::json_of(schema));
      check.keep(path, fmt::format("what {} writes", option));
    }
  };
  json("--exit-state", arguments.exit_state_path, "nocktrail.exit-state/");
  json("--json", arguments.json_path,
       arguments.start ? "nocktrail.starting-range/" : "nocktrail.effects/");
  if (!arguments.plot_path.empty()) {
    check.check("--plot", arguments.plot_path, session::plot());
  }
}

void warn_on_stderr(const arrow::Setup& setup) {
  for (const arrow::Caution& caution : arrow::cautions(setup)) {
    fmt::print(
        stderr, "warning: {}\n",
        caution.forbids == arrow::Forbids::nothing ? caution.text : arrow::stop_words(caution));
  }
}

}  // namespace

CLI::App* add_effects_command(CLI::App& app, EffectsArguments& arguments) {
  CLI::App* command =
      app.add_subcommand("effects", "What each change to a set-up does to the nock's offset");
  command->add_option("setup", arguments.setup_path, "Set-up file (TOML); see --template")
      ->type_name("SETUP.toml");
  command
      ->add_option("--reading", arguments.reading_deg,
                   "Measured lateral offset, nock to the shooter's right positive, bow upright")
      ->type_name("DEG");
  command->add_option("--u95", arguments.u95_deg, "Half its 95 % interval")->type_name("DEG");
  command->add_option("--json", arguments.json_path, "Write JSON to a file, or - for stdout")
      ->type_name("FILE|-");
  command->add_option("--plot", arguments.plot_path, "Write the plot against shaft length")
      ->type_name("FILE.svg");
  command->add_option("--draws", arguments.draws, "Draws of what is not known")
      ->capture_default_str()
      ->type_name("N");
  command->add_option("--seed", arguments.seed, "Seed of the draws; same seed, same answer")
      ->capture_default_str()
      ->type_name("S");
  command->add_flag("--start", arguments.start,
                    "No arrows yet: the static spines worth making a test set of");
  command
      ->add_option("--exit-state", arguments.exit_state_path,
                   "Write one simulated shot as JSON (unknowns at their middle) and nothing else")
      ->type_name("FILE|-");
  command->add_flag("--template", arguments.print_template, "Print a set-up file to fill in");
  return command;
}

int run_effects(const EffectsArguments& arguments) {
  if (arguments.print_template) {
    fmt::print("{}", arrow::setup_template());
    return 0;
  }
  if (arguments.setup_path.empty()) {
    throw BadInput(
        "effects: name a set-up file; `nocktrail effects --template > setup.toml` writes one to "
        "fill in");
  }
  if (arguments.draws < kFewestDraws || arguments.draws > kMostDraws) {
    throw BadInput(fmt::format("--draws: {} is not possible; give {} to {}", arguments.draws,
                               kFewestDraws, kMostDraws));
  }
  const std::optional<arrow::MeasuredOffset> reading = measured_offset(arguments);
  arrow::EffectsOptions options;
  options.draws = arguments.draws;
  options.seed = arguments.seed;
  check_outputs(arguments);
  const arrow::Setup setup = arrow::read_setup_file(arguments.setup_path);
  if (reading && setup.archer.hand == Hand::unknown) {
    throw BadInput(fmt::format(
        "{}: the hand is not told, and a reading means the opposite for the other hand; write hand "
        "= \"right\" or hand = \"left\" at the top",
        arguments.setup_path));
  }

  if (!arguments.exit_state_path.empty()) {
    if (reading || arguments.start || !arguments.plot_path.empty() ||
        !arguments.json_path.empty()) {
      throw BadInput(
          "--exit-state writes one shot alone: leave out --reading, --start, --plot and --json");
    }
    nlohmann::json document;
    try {
      document = arrow::exit_state_json(setup);
    } catch (const BadInput& error) {
      throw BadInput(fmt::format("{}: {}", arguments.setup_path, error.what()));
    }
    write_json(arguments.exit_state_path, document);
    warn_on_stderr(setup);
    return 0;
  }
  if (arguments.start) {
    if (reading || !arguments.plot_path.empty()) {
      throw BadInput("--start is for an archer with no arrows yet: leave out --reading and --plot");
    }
    const arrow::DrawSet draws = arrow::draw_set(setup, std::nullopt, options);
    const arrow::StartingRange range = arrow::starting_range(setup, draws, options);
    if (write_json(arguments.json_path, arrow::starting_json(setup, range))) {
      warn_on_stderr(setup);
    } else {
      print_text(arrow::starting_text(setup, range));
    }
    return 0;
  }

  arrow::EffectsAnswer answer;
  answer.setup = setup;
  answer.setup_name = std::filesystem::path(arguments.setup_path).filename().string();
  answer.reading = reading;
  answer.stops = stops_of(setup, reading);
  answer.seed = arguments.seed;
  answer.draws = arrow::draw_set(setup, reading, options);
  try {
    answer.table = arrow::effects_table(setup, answer.draws, options);
  } catch (const BadInput& error) {
    throw BadInput(fmt::format("{}: {}", arguments.setup_path, error.what()));
  }
  answer.outlook = arrow::outlook(setup, answer.draws, options);
  if (!arguments.plot_path.empty()) {
    report::write_file_whole(arguments.plot_path, arrow::effects_svg(answer));
  }
  if (write_json(arguments.json_path, arrow::effects_json(answer))) {
    warn_on_stderr(setup);
  } else {
    print_text(arrow::effects_text(answer));
  }
  return 0;
}

}  // namespace nocktrail::cli
