#include "still_command.hpp"

#include <fmt/format.h>

#include <CLI/App.hpp>
#include <CLI/Config.hpp>
#include <CLI/Formatter.hpp>
#include <algorithm>
#include <cstdio>
#include <filesystem>

#include "clip_facts.hpp"
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
#include "nocktrail/session/output_check.hpp"
#include "nocktrail/tune/facts_words.hpp"
#include "nocktrail/tune/gate.hpp"
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
up to the clip's set-up; --setup takes them from elsewhere. Where the folder keeps the reading that
was made with these facts, it is drawn from that, without reading the clip again.

Exit status: 0 the picture shows a measured shot; 2 the command line or the set-up file is wrong;
3 the clip was readable but not measured, the picture says why; 4 the file could not be read as
video, no picture; 1 a fault of the program itself; 130 stopped by Ctrl-C.)";

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
  const bool by_the_folder_alone = arguments.setup.empty() && !tells_facts(options);
  const fs::path out = out_path(arguments, clip);
  picture::StillOptions still;
  still.particulars = arguments.particulars;
  if (const ToldFacts told = told_facts(arguments.setup, clip, options); told.any) {
    fill_from(told.facts, options);
    const std::vector<std::string> known = tune::particulars(told.facts);
    still.particulars.insert(still.particulars.begin(), known.begin(), known.end());
    still.stops = tune::stop_texts(told.facts);
    still.next_step = !told.in_session && still.stops.empty();
  }
  still.hand = options.hand;
  still.dead_band_deg = options.dead_band_deg;

  note_interrupts();
  const std::string shown = rules::printable(clip.string());
  try {
    Reading reading;
    std::optional<Reading> kept;
    if (by_the_folder_alone) {
      kept = kept_reading(clip, options.dead_band_deg);
    }
    if (kept) {
      reading = std::move(*kept);
      reading.clip.path = clip;
    } else {
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
