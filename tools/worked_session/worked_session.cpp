// Writes what the clip maker needs to film a session's shots, and the truth that the reading is
// compared with. `--plan` films nothing: it says the truth of each set-up and what the judgement
// would advise after readings as honest as they can be.
#include <fmt/format.h>

#include <CLI/CLI.hpp>
#include <exception>
#include <filesystem>
#include <fstream>
#include <nlohmann/json.hpp>
#include <string>

#include "nocktrail/arrow/exit_state_json.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/tune/judgement.hpp"
#include "simulated_session.hpp"

namespace {

using namespace nocktrail;
namespace fs = std::filesystem;

struct Arguments {
  std::string session;
  std::string truth;
  std::uint64_t archer = 2;  // the one whom the set-ups of rook-hollow suit
  std::uint64_t seed = 2;
  std::size_t shots = 6;
  bool plan = false;
};

// Where the nocking point is what is open, and where the tune is to be settled, she films from the
// side, too, four more shots each.
constexpr std::size_t kFromSide = 4;
bool filmed_from_side(std::size_t setup) {
  return setup == 0 || setup == 1 || setup == 4;
}

void write(const fs::path& path, const nlohmann::json& document) {
  std::ofstream file(path, std::ios::binary | std::ios::trunc);
  file << document.dump(1) << '\n';
  file.close();
  if (!file) {
    throw BadInput(
        fmt::format("{}: cannot write this file; check the folder and its rights", path.string()));
  }
}

session::Plan load(const std::string& folder) {
  session::Plan plan = session::load(folder);
  if (!plan.faults.empty()) {
    throw BadInput(plan.faults.front());
  }
  return plan;
}

nlohmann::json offsets_json(const worked::Offsets& offsets) {
  return {{"lateral_deg", offsets.lateral_deg}, {"vertical_deg", offsets.vertical_deg}};
}

// A line for each clip on standard output: its set-up's folder and its name without ending.
void write_jobs(const Arguments& arguments) {
  const session::Plan plan = load(arguments.session);
  const worked::Archer archer(arguments.archer, arguments.seed);
  nlohmann::json setups = nlohmann::json::array();
  for (std::size_t k = 0; k < plan.setups.size(); ++k) {
    const session::PlannedSetup& setup = plan.setups[k];
    const fs::path folder = fs::path(arguments.truth) / setup.name;
    fs::create_directories(folder);
    nlohmann::json shots = nlohmann::json::array();
    const std::size_t from_side = filmed_from_side(k) ? kFromSide : 0;
    for (std::size_t i = 0; i < arguments.shots + from_side; ++i) {
      const worked::SimulatedShot shot = archer.shot(setup.facts, k, i);
      const bool behind = i < arguments.shots;
      const std::string clip = behind ? fmt::format("shot-{}{}", k + 1, i + 1)
                                      : fmt::format("side-{}{}", k + 1, i - arguments.shots + 1);
      write(folder / (clip + ".stroke.json"), arrow::exit_state_json(shot.setup, shot.unknowns));
      write(folder / (clip + ".spec.json"),
            behind ? worked::clip_spec(setup.facts, arguments.seed, k, i)
                   : worked::clip_spec_from_side(setup.facts, arguments.seed, k, i));
      shots.push_back({{"clip", clip + ".mp4"}, {"offsets", offsets_json(shot.offsets)}});
      fmt::print("{} {}\n", setup.name, clip);
    }
    const worked::LongRun run = archer.long_run(setup.facts, k);
    setups.push_back({{"name", setup.name},
                      {"bare", setup.facts.arrow.fletching == tune::Fletching::bare},
                      {"mean", offsets_json(run.mean)},
                      {"scatter", offsets_json(run.scatter)},
                      {"shots", shots}});
  }
  write(fs::path(arguments.truth) / "setups.json",
        {{"archer", arguments.archer}, {"seed", arguments.seed}, {"setups", setups}});
}

void print_plan(const Arguments& arguments) {
  constexpr double kU95_deg = 0.5;
  const session::Plan plan = load(arguments.session);
  const worked::Archer archer(arguments.archer, arguments.seed);
  tune::SessionRecord record;
  record.name = plan.name;
  for (std::size_t k = 0; k < plan.setups.size(); ++k) {
    tune::SetupRecord setup;
    setup.name = plan.setups[k].name;
    setup.facts = plan.setups[k].facts;
    for (std::size_t i = 0; i < arguments.shots; ++i) {
      const worked::SimulatedShot shot = archer.shot(setup.facts, k, i);
      tune::ClipRecord clip;
      clip.file = fmt::format("shot-{}{}.mp4", k + 1, i + 1);
      clip.cant_deg = 0.0;
      clip.reading.status = ClipStatus::measured;
      Shot read;
      read.status = ShotStatus::measured;
      read.nock_right_deg = Measured{shot.offsets.lateral_deg, kU95_deg};
      read.nock_high_deg = Measured{shot.offsets.vertical_deg, kU95_deg};
      clip.reading.shots.push_back(read);
      setup.clips.push_back(clip);
    }
    record.setups.push_back(setup);
    const worked::LongRun run = archer.long_run(setup.facts, k);
    const tune::SessionJudgement judgement = tune::judge_session(record);
    const tune::SetupJudgement& last = judgement.setups.back();
    fmt::print(
        "{}: true {:+.2f} (scatter {:.2f}), {:+.2f} ({:.2f}); read {:+.2f} +- {:.2f}, "
        "{:+.2f} +- {:.2f}; {}: {}\n",
        setup.name, run.mean.lateral_deg, run.scatter.lateral_deg, run.mean.vertical_deg,
        run.scatter.vertical_deg, last.lateral->mean_deg, last.lateral->u95_deg,
        last.vertical->mean_deg, last.vertical->u95_deg, rules::word(judgement.next.kind),
        judgement.next.words);
  }
}

}  // namespace

int main(int argc, char** argv) {
  Arguments arguments;
  CLI::App app{"Simulates the shots of a session folder for the clip maker"};
  app.add_option("session", arguments.session, "Folder with session.toml and its set-ups")
      ->required();
  app.add_option("truth", arguments.truth, "Folder for strokes, specs and truth");
  app.add_option("--archer", arguments.archer, "Whose bow hand, fingers and string");
  app.add_option("--seed", arguments.seed, "Of shots and films");
  app.add_option("--shots", arguments.shots, "Of each set-up");
  app.add_flag("--plan", arguments.plan, "Film nothing; print truth and advice");
  CLI11_PARSE(app, argc, argv);
  try {
    if (arguments.plan) {
      print_plan(arguments);
    } else if (arguments.truth.empty()) {
      throw BadInput("name a folder for the truth, or give --plan");
    } else {
      write_jobs(arguments);
    }
  } catch (const std::exception& error) {
    fmt::print(stderr, "nocktrail_worked_session: {}\n", error.what());
    return 1;
  }
  return 0;
}
