#include "replay_command.hpp"

#include <fmt/format.h>

#include <CLI/App.hpp>
#include <CLI/Config.hpp>
#include <CLI/Formatter.hpp>
#include <algorithm>
#include <cstdio>
#include <filesystem>
#include <optional>
#include <utility>

#include "clip_facts.hpp"
#include "exit_status.hpp"
#include "interrupt.hpp"
#include "nocktrail/desk/own_files.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/picture/replay.hpp"
#include "nocktrail/pipeline/read_clip.hpp"
#include "nocktrail/report/atomic_file.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/session/facts_file.hpp"
#include "nocktrail/session/output_check.hpp"
#include "nocktrail/session/session.hpp"
#include "nocktrail/tune/gate.hpp"
#include "progress_line.hpp"

namespace nocktrail::cli {
namespace {

namespace fs = std::filesystem;

const char* const kFooter = R"(Examples:
  nocktrail replay --hand right shot.mp4
  nocktrail replay --out before-after.mp4 spring/1-start/IMG_01.mp4 spring/2-lower/IMG_07.mp4

Of a clip in a session's folder the reading that is kept there is taken, where the command line
tells nothing else; any other clip is read first. A replay is no clip: lines are drawn on it, and
nocktrail does not read it. One that is kept in a session's folder should keep the ending
-replay.mp4, under which it is passed over in silence.

Exit status: 0 the film is written; 2 the command line or a set-up file is wrong; 3 a clip was
readable but not measured, and nothing is written; 4 a file could not be read as video; 1 a fault of
the program itself; 130 stopped by Ctrl-C.)";

constexpr const char* kEnding = "-replay.mp4";

fs::path out_path(const ReplayArguments& arguments) {
  const std::vector<std::string>& clips = arguments.read.clips;
  fs::path out =
      arguments.out.empty() ? fs::path(clips.front()).stem().string() + kEnding : arguments.out;
  if (out.extension() != ".mp4") {
    throw BadInput(fmt::format("--out: {} does not end in .mp4; the replay is an MP4 film",
                               rules::printable(out.string())));
  }
  session::OutputCheck check = desk::own_files();
  for (const std::string& clip : clips) {
    check.keep(clip, "one of the clips to be shown");
  }
  check.check("--out", out, session::film());
  return out;
}

// A clip that is not to be shown, and why.
struct NotShown {
  int status = kNotMeasured;
  std::string line;
};

class ReplayRun {
 public:
  ReplayRun(const ReplayArguments& arguments, ReadClipOptions options, fs::path out)
      : arguments_(arguments),
        asked_(std::move(options)),
        out_(std::move(out)),
        progress_(!arguments.read.quiet) {}

  int run() {
    note_interrupts();
    try {
      for (std::size_t k = 0; k < arguments_.read.clips.size(); ++k) {
        shots_.push_back(shot_of(k));
      }
      return draw();
    } catch (const NotShown& problem) {
      message(problem.line);
      return problem.status;
    } catch (const UnreadableClip& problem) {
      message(problem.what());
      return kUnreadable;
    } catch (const Interrupted&) {
      message("stopped; no replay is written");
      return kInterrupted;
    }
  }

 private:
  void message(const std::string& line) {
    progress_.clear();
    fmt::print(stderr, "nocktrail: {}\n", line);
  }

  Reading reading_of(const fs::path& clip, const ReadClipOptions& options) {
    if (!tells_facts(asked_)) {
      if (std::optional<Reading> kept = kept_reading(clip, options.dead_band_deg)) {
        return std::move(*kept);
      }
    }
    const std::string shown = rules::printable(clip.string());
    return read_clip(clip, options, [&](const std::string& what, double done) {
      progress_.show(fmt::format("{}: {} {:.0f} %", shown, what, 100.0 * done));
      return !interrupted();
    });
  }

  picture::ReplayShot shot_of(std::size_t k) {
    const fs::path clip = arguments_.read.clips[k];
    ReadClipOptions options = asked_;
    picture::ReplayShot shot;
    if (const ToldFacts told = told_facts({}, clip, options); told.any) {
      fill_from(told.facts, options);
      shot.stops = tune::stop_texts(told.facts);
    }
    shot.reading = reading_of(clip, options);
    const std::string shown = rules::printable(clip.string());
    if (shot.reading.status == ClipStatus::error) {
      const std::string reason = rules::printable(shot.reading.reason);
      throw NotShown{kUnreadable,
                     reason.find(shown) == std::string::npos ? shown + ": " + reason : reason};
    }
    shot.reading.clip.path = clip.string();
    shot.shot_number = number_of(shot.reading, k);
    if (const std::string why = picture::why_no_replay(shot.reading, shot.shot_number);
        !why.empty()) {
      throw NotShown{kNotMeasured,
                     fmt::format("{}: there is no replay of it: {}", shown, rules::printable(why))};
    }
    return shot;
  }

  // The shot asked for, else the first with a number, else the first. From 0.
  std::size_t number_of(const Reading& reading, std::size_t k) const {
    const std::vector<Shot>& shots = reading.shots;
    if (k < arguments_.shots.size()) {
      const int asked = arguments_.shots[k];
      if (asked < 1 || asked > std::max(static_cast<int>(shots.size()), 1)) {
        throw BadInput(fmt::format("--shot: {} is not in {}, which holds {} shot{}", asked,
                                   rules::printable(arguments_.read.clips[k]), shots.size(),
                                   shots.size() == 1 ? "" : "s"));
      }
      return static_cast<std::size_t>(asked - 1);
    }
    const auto measured = std::find_if(shots.begin(), shots.end(), [](const Shot& shot) {
      return shot.status == ShotStatus::measured;
    });
    return measured == shots.end() ? 0 : static_cast<std::size_t>(measured - shots.begin());
  }

  int draw() {
    picture::ReplayOptions options;
    options.shown_per_second = arguments_.per_second;
    const std::optional<std::string> film = picture::draw_replay(shots_, options, [&](double done) {
      progress_.show(fmt::format("drawing {:.0f} %", 100.0 * done));
      return !interrupted();
    });
    if (!film || interrupted()) {
      throw Interrupted{};
    }
    report::write_file_whole(out_, *film);
    progress_.clear();
    if (!arguments_.read.quiet) {
      fmt::print("{}\n", rules::printable(out_.string()));
    }
    return kAllMeasured;
  }

  const ReplayArguments& arguments_;
  ReadClipOptions asked_;
  fs::path out_;
  ProgressLine progress_;
  std::vector<picture::ReplayShot> shots_;
};

}  // namespace

CLI::App* add_replay_command(CLI::App& program, ReplayArguments& arguments) {
  CLI::App* command = program.add_subcommand(
      "replay", "Make a slow film of a flight, steadied, with shaft and path drawn on it");
  command->footer(kFooter);
  command
      ->add_option("--out", arguments.out, "The film; else CLIP-replay.mp4 in the current folder")
      ->type_name("FILE.mp4");
  command
      ->add_option("--shot", arguments.shots,
                   "Which shot of a clip that holds several; with two\nclips once for each")
      ->type_name("N")
      ->allow_extra_args(false);
  command
      ->add_option("--per-second", arguments.per_second,
                   "Frames of the clip that are shown in a second")
      ->type_name("N")
      ->capture_default_str();
  add_reading_options(*command, arguments.read);
  command->add_flag("--quiet", arguments.read.quiet, "No progress and no words; only errors");
  command
      ->add_option(
          "CLIP", arguments.read.clips,
          "Video file; a second one is laid over the first,\nboth as they leave the string")
      ->type_name("")
      ->expected(1, 2)
      ->required();
  return command;
}

int run_replay(const ReplayArguments& arguments) {
  if (arguments.per_second < 2 || arguments.per_second > 30) {
    throw BadInput(fmt::format("--per-second: {} is out of range; give a number from 2 to 30",
                               arguments.per_second));
  }
  if (arguments.shots.size() > arguments.read.clips.size()) {
    throw BadInput("--shot: give it once for each clip");
  }
  ReadClipOptions options = checked_reading_options(arguments.read);
  fs::path out = out_path(arguments);
  return ReplayRun(arguments, std::move(options), std::move(out)).run();
}

}  // namespace nocktrail::cli
