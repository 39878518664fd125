#include "read_command.hpp"

#include <fmt/format.h>

#include <CLI/Config.hpp>
#include <CLI/Formatter.hpp>
#include <cmath>
#include <cstdio>
#include <filesystem>
#include <memory>
#include <set>
#include <string>
#include <vector>

#include "clip_facts.hpp"
#include "exit_status.hpp"
#include "interrupt.hpp"
#include "nocktrail/desk/own_files.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/media/image_file.hpp"
#include "nocktrail/picture/frames.hpp"
#include "nocktrail/picture/still.hpp"
#include "nocktrail/pipeline/read_clip.hpp"
#include "nocktrail/pipeline/read_marked.hpp"
#include "nocktrail/report/atomic_file.hpp"
#include "nocktrail/report/json.hpp"
#include "nocktrail/report/marks.hpp"
#include "nocktrail/report/summary.hpp"
#include "nocktrail/report/text.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/session/facts_file.hpp"
#include "nocktrail/session/output_check.hpp"
#include "nocktrail/session/session.hpp"
#include "nocktrail/tune/gate.hpp"
#include "nocktrail/units/units.hpp"
#include "output_names.hpp"
#include "progress_line.hpp"
#include "terminal.hpp"

namespace nocktrail::cli {
namespace {

namespace fs = std::filesystem;

const char* const kFooter = R"(Examples:
  nocktrail read --hand right --cant 15 shot.mp4
  nocktrail read --hand left --cant 15 --arrow-length 30in --still shot.png shot.mp4
  nocktrail read --json - --quiet morning/*.mp4 > morning.json
  nocktrail read --hand right --arrow-length 30in morning/*.mp4

Several clips end with a summary, one row for each shot; cautions are said once. With several
clips, --still FILE.png writes FILE-CLIP.png for each clip; a second shot in one clip gets "-shot2".
A clip that was refused gives a still with the reason; a file that cannot be read gives none.

Of a clip in a session's folder the hand-written files (session.toml, setup.toml) tell what the
command line leaves open, and what they forbid is said first.

Exit status: 0 every clip gave at least one measured shot; 2 the command line is wrong; 3 some clip
was readable but not measured; 4 some file could not be read as video; 1 a fault of the program
itself; 130 stopped by Ctrl-C.)";

// The names of further shots' stills that are looked at beforehand; of any others, when they come.
constexpr std::size_t kShotsForeseen = 9;

void check_stills(const session::OutputCheck& check, const ReadArguments& arguments) {
  std::set<fs::path> taken;
  for (const std::string& clip : arguments.clips) {
    for (std::size_t shot = 1; shot <= kShotsForeseen; ++shot) {
      check.check("--still",
                  still_name(arguments.still, clip, arguments.clips.size() > 1, shot, taken),
                  session::still_picture());
    }
  }
}

// Of what is in a folder for debug pictures, only what one may be written over matters.
void check_debug(const session::OutputCheck& check, const fs::path& folder) {
  std::error_code error;
  for (const auto& entry : fs::directory_iterator(folder, error)) {
    if (is_debug_name(entry.path())) {
      check.check("--debug", entry.path(), session::debug_picture());
    }
  }
}

// Before anything is read: better now than after the long work.
void check_outputs(const ReadArguments& arguments, const session::OutputCheck& check) {
  if (!arguments.json.empty() && arguments.json != "-") {
    check.check("--json", arguments.json, session::json_of("nocktrail.reading/"));
  }
  if (!arguments.still.empty()) {
    if (fs::path(arguments.still).extension() != ".png") {
      throw BadInput(fmt::format("--still: {} does not end in .png; the still is a PNG picture",
                                 rules::printable(arguments.still)));
    }
    check_stills(check, arguments);
  }
  if (!arguments.debug.empty()) {
    std::set<fs::path> taken;
    for (const std::string& clip : arguments.clips) {
      check_debug(check, debug_folder(arguments.debug, clip, arguments.clips.size() > 1, taken));
    }
    std::error_code error;
    fs::create_directories(arguments.debug, error);
    if (error || !fs::is_directory(arguments.debug, error)) {
      throw BadInput(
          fmt::format("--debug: {} cannot be made a folder; give a folder, or a name "
                      "where one can be made",
                      rules::printable(arguments.debug)));
    }
  }
}

// Where nobody says how wide it is.
constexpr std::size_t kUsualColumns = 80;

// One run of the command.
class ReadRun {
 public:
  // `into`: the session that the readings are kept in; may be null.
  ReadRun(const ReadArguments& arguments, ReadClipOptions options, std::optional<Marks> marks,
          const session::OutputCheck& check, session::IntoSession* into)
      : arguments_(arguments),
        options_(std::move(options)),
        marks_(std::move(marks)),
        check_(check),
        into_(into),
        progress_(!arguments.quiet) {}

  int run() {
    note_interrupts();
    try {
      for (const std::string& clip : arguments_.clips) {
        read_one(clip);
        if (halted_) {
          return kProgramFault;
        }
      }
      stop_if_interrupted();
      summarize();
      write_json();
    } catch (const Interrupted&) {
      progress_.clear();
      fmt::print(stderr, "nocktrail: stopped; what was not yet finished is not written\n");
      return kInterrupted;
    }
    if (std::fflush(stdout) != 0 || std::ferror(stdout) != 0) {
      fmt::print(stderr, "nocktrail: standard output could not be written\n");
      return kProgramFault;
    }
    return fault_ ? kProgramFault : status_;
  }

 private:
  bool several() const { return arguments_.clips.size() > 1; }

  static void stop_if_interrupted() {
    if (interrupted()) {
      throw Interrupted{};
    }
  }

  void message(const std::string& line) {
    progress_.clear();
    fmt::print(stderr, "nocktrail: {}\n", line);
  }

  void fault(const fs::path& clip, const char* what) {
    fault_ = true;
    message(
        fmt::format("{}: fault in the program itself: {}", rules::printable(clip.string()), what));
  }

  void read_one(const std::string& clip) {
    const std::string shown = rules::printable(clip);
    stop_if_interrupted();
    Reading reading;
    ReadClipOptions options = options_;
    const ToldFacts told = facts_of(clip);
    if (told.any) {
      fill_from(told.facts, options);
    }
    try {
      if (!arguments_.debug.empty()) {
        options.debug_dir = debug_folder(arguments_.debug, clip, several(), taken_);
      }
      const Progress progress = [&](const std::string& what, double done) {
        progress_.show(fmt::format("{}: {} {:.0f} %", shown, what, 100.0 * done));
        return !interrupted();
      };
      reading = into_ != nullptr ? into_->read(clip, progress).reading
                : marks_         ? read_marked(clip, *marks_, options, progress)
                                 : read_clip(clip, options, progress);
    } catch (const UnreadableClip& problem) {
      reading.clip.path = clip;
      reading.status = ClipStatus::error;
      reading.reason = problem.what();
    } catch (const BadInput& problem) {
      if (into_ == nullptr) {
        throw;  // about the options, so about every clip; or about the marks of the only one
      }
      message(problem.what());  // the reading cannot be kept, and no other could
      fault_ = true;
      halted_ = true;
      return;
    } catch (const std::exception& problem) {
      // One clip that trips the program must not cost the others their readings.
      fault(clip, problem.what());
      reading = Reading{};
      reading.clip.path = clip;
      reading.status = ClipStatus::error;
      reading.reason = "The program itself failed on this clip; please report it.";
      readings_.push_back(std::move(reading));
      read_with_.emplace_back();
      return;
    }
    stop_if_interrupted();
    note_status(reading);
    std::vector<std::string> stops;
    if (told.any) {
      stops = tune::stop_texts(told.facts);
    }
    stops_.insert(stops_.end(), stops.begin(), stops.end());
    read_with_.push_back(facts_used(options_, options, told));
    say(reading, shown, options, read_with_words(read_with_.back()), stops);
    if (!arguments_.still.empty()) {
      draw_stills(reading, clip, options, stops);
    }
    for (Shot& shot : reading.shots) {
      if (told.any) {
        tune::put_stops_first(shot, told.facts);
      }
    }
    readings_.push_back(std::move(reading));
  }

  // A slip in the folder's files must not cost the clip its reading.
  ToldFacts facts_of(const std::string& clip) {
    try {
      return told_facts({}, clip, options_);
    } catch (const BadInput& problem) {
      message(fmt::format("{}; {} is read by what the command line tells alone", problem.what(),
                          rules::printable(clip)));
      return {};
    }
  }

  void note_status(const Reading& reading) {
    bool any_measured = false;
    for (const Shot& shot : reading.shots) {
      any_measured = any_measured || shot.status == ShotStatus::measured;
    }
    if (reading.status == ClipStatus::error) {
      status_ = kUnreadable;
    } else if (!any_measured && status_ == kAllMeasured) {
      status_ = kNotMeasured;
    }
  }

  void say(const Reading& reading, const std::string& shown, const ReadClipOptions& options,
           const std::string& read_with, const std::vector<std::string>& stops) {
    progress_.clear();
    if (reading.status == ClipStatus::error) {
      const std::string reason = rules::printable(reading.reason);
      // Most reasons name the file themselves.
      message(reason.find(shown) == std::string::npos ? shown + ": " + reason : reason);
      return;
    }
    if (!speaks()) {
      return;
    }
    report::TextOptions text;
    text.hand = options.hand;
    text.arrow_length_given = options.arrow_length_m.has_value();
    text.view_told = options.view.has_value();
    text.read_with = read_with;
    text.stops = stops;
    text.cautions_said = &cautions_said_;
    text.width = static_cast<int>(text_columns(kUsualColumns));
    fmt::print("{}{}", said_something_ ? "\n" : "", report::text(reading, text));
    std::fflush(stdout);
    said_something_ = true;
  }

  void draw_stills(const Reading& reading, const fs::path& clip, const ReadClipOptions& options,
                   const std::vector<std::string>& stops) {
    if (reading.status == ClipStatus::error) {
      message(fmt::format("{}: no still is written, there is no picture to show",
                          rules::printable(clip.string())));
      return;
    }
    const picture::StillOptions still{.hand = options.hand,
                                      .dead_band_deg = options.dead_band_deg,
                                      .stops = stops,
                                      .next_step = stops.empty()};
    const std::size_t pictures = std::max<std::size_t>(reading.shots.size(), 1);
    for (std::size_t shot = 0; shot < pictures; ++shot) {
      stop_if_interrupted();
      const fs::path name = still_name(arguments_.still, clip, several(), shot + 1, taken_);
      try {
        const std::string png =
            media::png_bytes(picture::draw_still(reading, shot, picture::frames_of(clip), still));
        stop_if_interrupted();
        check_.check("--still", name, session::still_picture());
        report::write_file_whole(name, png);
      } catch (const BadInput& problem) {
        fault_ = true;
        message(problem.what());
      } catch (const std::exception& problem) {
        fault(clip, problem.what());
      }
    }
  }

  bool speaks() const { return !arguments_.quiet && arguments_.json != "-"; }

  void summarize() const {
    if (!several() || !speaks()) {
      return;
    }
    report::SummaryOptions options;
    options.stops = stops_;
    options.width = terminal_columns() == 0 ? kUsualColumns : terminal_columns();
    fmt::print("{}{}", said_something_ ? "\n" : "", report::summary(readings_, options));
  }

  void write_json() {
    if (arguments_.json.empty()) {
      return;
    }
    const std::string json = report::json_text(readings_, read_with_);
    if (arguments_.json == "-") {
      std::fwrite(json.data(), 1, json.size(), stdout);
      return;
    }
    try {
      report::write_file_whole(arguments_.json, json);
    } catch (const BadInput& problem) {
      fault_ = true;
      message(problem.what());
    }
  }

  const ReadArguments& arguments_;
  ReadClipOptions options_;
  std::optional<Marks> marks_;
  const session::OutputCheck& check_;
  session::IntoSession* into_;
  ProgressLine progress_;
  std::vector<Reading> readings_;
  std::vector<std::vector<report::FactUsed>> read_with_;  // of each reading
  std::set<fs::path> taken_;
  std::set<std::string> cautions_said_;
  std::vector<std::string> stops_;  // of all clips
  int status_ = kAllMeasured;
  bool fault_ = false;
  bool halted_ = false;  // no use in going on
  bool said_something_ = false;
};

}  // namespace

CLI::App* add_read_command(CLI::App& program, ReadArguments& arguments) {
  CLI::App* read = program.add_subcommand(
      "read", "Read how the nock trails as the arrow leaves the bow, from one clip or several");
  read->footer(kFooter);
  add_reading_options(*read, arguments);
  read->add_option("--json", arguments.json,
                   "Write the readings as JSON to FILE; \"-\" is standard\noutput, which then "
                   "carries nothing else")
      ->type_name("FILE|-");
  read->add_option("--still", arguments.still, "Write a picture of what was measured")
      ->type_name("FILE.png");
  read->add_option("--debug", arguments.debug,
                   "Leave pictures of what each stage saw in this folder")
      ->type_name("DIR");
  read->add_option("--marks", arguments.marks,
                   "Read the clip by where a person marked nock and point,\nin place of the "
                   "program's own search; one clip only")
      ->type_name("FILE");
  read->add_option(
          "--into", arguments.into,
          "Keep the readings in this session's folder, as\nnocktrail session would; its own "
          "files tell the facts")
      ->type_name("DIR");
  read->add_flag("--quiet", arguments.quiet,
                 "No words and no progress; only errors, and what\n--json and --still ask for");
  read->add_option("CLIP", arguments.clips, "Video files")->type_name("")->required();
  return read;
}

namespace {

// The session that --into names; null without. There what a clip is read with stands in the folder.
std::unique_ptr<session::IntoSession> into_session(const ReadArguments& arguments,
                                                   const ReadClipOptions& options) {
  if (arguments.into.empty()) {
    return nullptr;
  }
  if (tells_facts(options) || !arguments.marks.empty() || !arguments.debug.empty()) {
    throw BadInput(
        "--into: the session's own files tell what its clips are read with; leave the other "
        "options out, and write the facts into session.toml or setup.toml");
  }
  session::ReadSessionOptions settings;
  settings.archer = session::default_archer_files();
  settings.dead_band_deg = options.dead_band_deg;
  return std::make_unique<session::IntoSession>(arguments.into, settings);
}

}  // namespace

int run_read(const ReadArguments& arguments) {
  const ReadClipOptions options = checked_reading_options(arguments);
  std::optional<Marks> marks;
  session::OutputCheck check = desk::own_files();
  if (!arguments.marks.empty()) {
    if (arguments.clips.size() != 1) {
      throw BadInput("--marks: marks are of one clip; give that clip alone");
    }
    marks = report::read_marks(arguments.marks);
    check.keep(arguments.marks, "the file of marks");
  }
  for (const std::string& clip : arguments.clips) {
    check.keep(clip, "one of the clips to be read");
  }
  check_outputs(arguments, check);
  const std::unique_ptr<session::IntoSession> into = into_session(arguments, options);
  return ReadRun(arguments, options, std::move(marks), check, into.get()).run();
}

}  // namespace nocktrail::cli
