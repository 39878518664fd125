#include "still_command.hpp"

#include <fmt/format.h>

#include <CLI/App.hpp>
#include <CLI/Config.hpp>
#include <CLI/Formatter.hpp>
#include <algorithm>
#include <cstdio>
#include <filesystem>

#include "exit_status.hpp"
#include "interrupt.hpp"
#include "nocktrail/desk/own_files.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/media/image_file.hpp"
#include "nocktrail/picture/frames.hpp"
#include "nocktrail/picture/still.hpp"
#include "nocktrail/pipeline/read_clip.hpp"
#include "nocktrail/report/atomic_file.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/session/facts_file.hpp"
#include "nocktrail/session/output_check.hpp"
#include "nocktrail/session/session.hpp"
#include "nocktrail/tune/facts_words.hpp"
#include "nocktrail/tune/gate.hpp"
#include "nocktrail/units/hand_written.hpp"
#include "progress_line.hpp"

namespace nocktrail::cli {
namespace {

namespace fs = std::filesystem;

const char* const kFooter = R"(Examples:
  nocktrail still --hand right shot.mp4
  nocktrail still --setup spring/2-lower/setup.toml --out evening-03.png evening-03.mp4
  nocktrail still --particulars "Bow: Rook Hollow 45" --particulars "Arrow: alder, 30 in" shot.mp4

Within a session's folder the particulars, and the hand, cant, arrow length, focal length and frame
rate where the command line does not say them, come from its session.toml and the setup.toml files
up to the clip's set-up; --setup takes them from elsewhere.

Exit status: 0 the picture shows a measured shot; 2 the command line or the set-up file is wrong;
3 the clip was readable but not measured, the picture says why; 4 the file could not be read as
video, no picture; 1 a fault of the program itself; 130 stopped by Ctrl-C.)";

std::string content_of(const fs::path& path) {
  const std::string source = fmt::format("--setup: {}", rules::printable(path.string()));
  const std::optional<std::string> text = units::read_hand_written(path, source);
  if (!text) {
    throw BadInput(fmt::format("{}: cannot read this file; check its name and rights", source));
  }
  return *text;
}

fs::path whole_path(const fs::path& path) {
  std::error_code error;
  const fs::path whole = fs::weakly_canonical(path, error);
  return error ? path : whole;
}

bool there(const fs::path& path) {
  std::error_code error;
  return fs::is_regular_file(path, error);
}

// The facts that hold for `clip` in the session of `folder`, in the set-up of that name, or, for an
// empty name, in the one that holds the clip. Empty without such a set-up.
std::optional<tune::SetupFacts> facts_in_session(const fs::path& folder, const std::string& setup,
                                                 const fs::path& clip) {
  const session::Plan plan = session::load(folder);
  if (!plan.faults.empty()) {
    throw BadInput(plan.faults.front());
  }
  for (const session::PlannedSetup& planned : plan.setups) {
    const auto found = std::find_if(
        planned.clips.begin(), planned.clips.end(),
        [&](const session::PlannedClip& one) { return whole_path(one.path) == whole_path(clip); });
    if (found == planned.clips.end() && (setup.empty() || planned.name != setup)) {
      continue;
    }
    tune::SetupFacts facts = planned.facts;
    if (found != planned.clips.end()) {
      facts.hand = found->hand == Hand::unknown ? facts.hand : found->hand;
      facts.cant_deg = found->cant_deg ? found->cant_deg : facts.cant_deg;
      facts.camera.focal_35mm = found->focal_35mm;
      facts.camera.capture_fps = found->capture_fps;
    }
    return facts;
  }
  return std::nullopt;
}

// What the hand-written files say of the clip: the file asked for, else those of the folders in
// which it lies.
std::optional<tune::SetupFacts> told_facts(const std::string& asked, const fs::path& clip) {
  if (asked.empty()) {
    const fs::path folder = whole_path(clip).parent_path();
    const fs::path above = folder.parent_path();
    if (there(folder / session::kSetupFile) || there(above / session::kSessionFile)) {
      return facts_in_session(above, folder.filename().string(), clip);
    }
    if (there(folder / session::kSessionFile)) {
      return facts_in_session(folder, ".", clip);
    }
    return std::nullopt;
  }
  const std::string text = content_of(asked);
  const fs::path file = whole_path(asked);
  const fs::path folder = file.parent_path();
  if (file.filename() == session::kSetupFile) {
    return facts_in_session(folder.parent_path(), folder.filename().string(), clip);
  }
  // The whole session's file: what it says for every set-up, unless the clip lies in one.
  if (file.filename() == session::kSessionFile) {
    if (auto facts = facts_in_session(folder, {}, clip)) {
      return facts;
    }
  }
  return session::parse_facts(text, asked, session::FactsKind::session).facts;
}

void fill_from(const tune::SetupFacts& facts, ReadClipOptions& options) {
  if (options.hand == Hand::unknown) {
    options.hand = facts.hand;
  }
  const auto fill = [](std::optional<double>& option, const std::optional<double>& fact) {
    option = option ? option : fact;
  };
  fill(options.cant_deg, facts.cant_deg);
  fill(options.arrow_length_m, facts.arrow.arrow_length_m);
  fill(options.focal_35mm, facts.camera.focal_35mm);
  fill(options.capture_fps, facts.camera.capture_fps);
  fill(options.target_distance_m, facts.target_distance_m);
}

// The shot asked for, else the first with a number, else the first. From 0.
std::size_t chosen_shot(const Reading& reading, const std::optional<int>& asked) {
  if (asked) {
    const auto shots = static_cast<int>(reading.shots.size());
    if (*asked < 1 || *asked > std::max(shots, 1)) {
      throw BadInput(fmt::format("--shot: {} is not in this clip, which holds {} shot{}", *asked,
                                 shots, shots == 1 ? "" : "s"));
    }
    return static_cast<std::size_t>(*asked - 1);
  }
  const auto measured =
      std::find_if(reading.shots.begin(), reading.shots.end(),
                   [](const Shot& shot) { return shot.status == ShotStatus::measured; });
  return measured == reading.shots.end()
             ? 0
             : static_cast<std::size_t>(measured - reading.shots.begin());
}

fs::path out_path(const StillArguments& arguments, const fs::path& clip) {
  fs::path out = arguments.out.empty() ? clip.stem().string() + "-still.png" : arguments.out;
  if (out.extension() != ".png") {
    throw BadInput(fmt::format("--out: {} does not end in .png; the still is a PNG picture",
                               rules::printable(out.string())));
  }
  session::OutputCheck check = desk::own_files();
  check.keep(clip, "the clip to be read");
  if (!arguments.setup.empty()) {
    check.keep(arguments.setup, "the set-up's file");
  }
  check.check("--out", out, session::still_picture());
  return out;
}

}  // namespace

CLI::App* add_still_command(CLI::App& program, StillArguments& arguments) {
  CLI::App* command = program.add_subcommand(
      "still", "Write one picture of what was measured in a clip, with the set-up on it");
  command->footer(kFooter);
  command
      ->add_option("--out", arguments.out, "The picture; else CLIP-still.png in the current folder")
      ->type_name("FILE.png");
  command
      ->add_option("--setup", arguments.setup,
                   "What it was shot with, when the clip does not lie in\nthe session's folder: "
                   "its session.toml or a setup.toml")
      ->type_name("FILE.toml");
  command
      ->add_option("--particulars", arguments.particulars,
                   "A line to write at the picture's foot; may be given\nseveral times")
      ->type_name("TEXT")
      ->allow_extra_args(false);
  command->add_option("--shot", arguments.shot, "Which shot of a clip that holds several")
      ->type_name("N");
  add_reading_options(*command, arguments.read);
  command->add_flag("--quiet", arguments.read.quiet, "No progress and no words; only errors");
  command->add_option("CLIP", arguments.read.clips, "Video file")
      ->type_name("")
      ->expected(1)
      ->required();
  return command;
}

int run_still(const StillArguments& arguments) {
  const fs::path clip = arguments.read.clips.front();
  ReadClipOptions options = checked_reading_options(arguments.read);
  const fs::path out = out_path(arguments, clip);
  picture::StillOptions still;
  still.particulars = arguments.particulars;
  if (const std::optional<tune::SetupFacts> facts = told_facts(arguments.setup, clip)) {
    fill_from(*facts, options);
    const std::vector<std::string> told = tune::particulars(*facts);
    still.particulars.insert(still.particulars.begin(), told.begin(), told.end());
    still.stops = tune::stop_texts(*facts);
    still.next_step = false;
  }
  still.hand = options.hand;
  still.dead_band_deg = options.dead_band_deg;

  note_interrupts();
  const std::string shown = rules::printable(clip.string());
  try {
    Reading reading;
    {
      ProgressLine progress(!arguments.read.quiet);
      reading = read_clip(clip, options, [&](const std::string& what, double done) {
        progress.show(fmt::format("{}: {} {:.0f} %", shown, what, 100.0 * done));
        return !interrupted();
      });
    }
    if (reading.status == ClipStatus::error) {
      const std::string reason = rules::printable(reading.reason);
      fmt::print(stderr, "nocktrail: {}\n",
                 reason.find(shown) == std::string::npos ? shown + ": " + reason : reason);
      return kUnreadable;
    }
    const std::size_t shot = chosen_shot(reading, arguments.shot);
    report::write_file_whole(
        out, media::png_bytes(picture::draw_still(reading, shot, picture::frames_of(clip), still)));
    if (!arguments.read.quiet) {
      fmt::print("{}\n", rules::printable(out.string()));
    }
    const bool measured =
        shot < reading.shots.size() && reading.shots[shot].status == ShotStatus::measured;
    return measured ? kAllMeasured : kNotMeasured;
  } catch (const Interrupted&) {
    fmt::print(stderr, "nocktrail: stopped; no picture is written\n");
    return kInterrupted;
  }
}

}  // namespace nocktrail::cli
