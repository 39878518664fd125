#include "watch_command.hpp"

#include <fmt/format.h>

#include <CLI/App.hpp>
#include <CLI/Config.hpp>
#include <CLI/Formatter.hpp>
#include <algorithm>
#include <chrono>
#include <cstdio>
#include <map>
#include <set>

#ifdef __GLIBC__
#include <malloc.h>
#endif

#include "interrupt.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/session/watch.hpp"
#include "nocktrail/tune/judgement_text.hpp"

namespace nocktrail::cli {
namespace {

namespace fs = std::filesystem;
using std::chrono::milliseconds;

// Between looks: while a copy is under way; else, where notifications wake us; where none do.
constexpr milliseconds kWhileCopying{200};
constexpr milliseconds kNotified{3000};
constexpr milliseconds kPolling{1000};
// After the results could not be written.
constexpr std::chrono::seconds kRetry{20};

const char* const kFooter = R"(Example:
  nocktrail watch spring

Reads what is in the folder as `nocktrail session` does, then every clip as it arrives: one line
for each, and the next step. A clip is read when its copy has finished. A clip may be replaced,
renamed or removed at any time, and session.toml or a setup.toml edited; results follow. Ctrl-C
ends it; started again it goes on where it was.

Exit status: 0 ended by Ctrl-C; 2 the command line is wrong or the folder cannot be used; 1 a fault
of the program itself.)";

// What is where, by content.
using Places = std::map<std::string, std::string>;

Places places_of(const tune::SessionRecord& record) {
  Places places;
  for (const tune::SetupRecord& setup : record.setups) {
    for (const tune::ClipRecord& clip : setup.clips) {
      if (!clip.sha256.empty()) {
        places[clip.sha256] = setup.name == "." ? clip.file : setup.name + "/" + clip.file;
      }
    }
  }
  return places;
}

class Watch {
 public:
  explicit Watch(const WatchArguments& arguments)
      : arguments_(arguments),
        output_(arguments.folder, arguments.output),
        folder_watch_(arguments.poll),
        arrivals_(arrival_options(arguments)) {}

  int run() {
    if (!arguments_.poll && !folder_watch_.notified()) {
      output_.message("the system gives no notice of changed files; looking every second instead");
    }
    session::load(arguments_.folder);  // a folder that is not there now is a slip, not a wait
    while (!interrupted()) {
      look();
      if (interrupted()) {
        break;
      }
      folder_watch_.wait(!arrivals_.waiting().empty() ? kWhileCopying
                         : folder_watch_.notified()   ? kNotified
                                                      : kPolling);
    }
    fmt::print(stderr, "nocktrail: stopped watching; what was read is kept\n");
    return std::fflush(stdout) == 0 && std::ferror(stdout) == 0 ? 0 : 1;
  }

 private:
  static session::ArrivalOptions arrival_options(const WatchArguments& arguments) {
    if (!(arguments.settle_s >= 0.1 && arguments.settle_s <= 600.0)) {
      throw BadInput(fmt::format("--settle: {:g} is out of range; give 0.1 to 600 seconds",
                                 arguments.settle_s));
    }
    session::ArrivalOptions options;
    options.settle = milliseconds(static_cast<long>(1000.0 * arguments.settle_s));
    return options;
  }

  void look() {
    try {
      folder_watch_.cover(arguments_.folder);
      const auto now = session::Arrivals::Clock::now();
      const bool due = arrivals_.look(arguments_.folder, folder_watch_.take_closed(), now,
                                      std::chrono::system_clock::now());
      name_waiting();
      if (due || (retry_ && now - last_run_ > kRetry)) {
        last_run_ = now;
        read();
      }
      away_.clear();
    } catch (const BadInput& problem) {
      if (!began_) {
        throw;
      }
      // The disk taken out, the folder renamed: it may come back.
      if (away_ != problem.what()) {
        away_ = problem.what();
        fmt::print(stderr, "nocktrail: {}; waiting for it\n", rules::printable(away_));
      }
    }
  }

  // Once for each clip whose copy goes on.
  void name_waiting() {
    std::set<fs::path> waiting;
    for (const fs::path& path : arrivals_.waiting()) {
      waiting.insert(path);
      if (waiting_.count(path) == 0 && !arguments_.output.quiet) {
        fmt::print(stderr, "nocktrail: {}: arriving\n", rules::printable(path.filename().string()));
      }
    }
    waiting_ = std::move(waiting);
  }

  void read() {
    const JudgedSession judged =
        output_.run([this](const fs::path& clip) { return !arrivals_.settled(clip); }, stdout);
#ifdef __GLIBC__
    malloc_trim(0);  // a watcher idles for hours and need not hold what a clip took
#endif
    began_ = true;
    if (judged.read.stopped) {
      return;
    }
    if (!judged.read.faults.empty()) {
      return;  // said; a mended file is a change
    }
    retry_ = !judged.published;
    if (retry_) {
      return;  // said
    }
    note_places(places_of(judged.read.record));
    const std::string line = tune::judgement_line(judged.read.record, judged.judgement);
    if (line != last_line_) {
      last_line_ = line;
      fmt::print("{}\n", line);
    }
    std::fflush(stdout);
  }

  // Says what became of clips that were here before.
  void note_places(Places now) {
    for (const auto& [sha256, was] : places_) {
      const auto found = now.find(sha256);
      if (found != now.end() && found->second != was) {
        fmt::print("{}: read before as {}\n", rules::printable(found->second),
                   rules::printable(was));
      }
      if (found != now.end()) {
        continue;
      }
      std::error_code error;
      if (!fs::exists(fs::path(arguments_.folder) / was, error)) {
        fmt::print("{}: no longer in the folder; its reading is kept\n", rules::printable(was));
      } else if (std::any_of(now.begin(), now.end(),
                             [&gone = was](const auto& place) { return place.second == gone; })) {
        fmt::print("{}: replaced; the earlier reading is kept\n", rules::printable(was));
      } else {
        now[sha256] = was;  // being replaced
      }
    }
    places_ = std::move(now);
  }

  const WatchArguments& arguments_;
  SessionOutput output_;
  session::FolderWatch folder_watch_;
  session::Arrivals arrivals_;
  session::Arrivals::Clock::time_point last_run_{};
  bool began_ = false;
  bool retry_ = false;
  std::set<fs::path> waiting_;
  Places places_;
  std::string last_line_;
  std::string away_;
};

}  // namespace

CLI::App* add_watch_command(CLI::App& program, WatchArguments& arguments) {
  CLI::App* command = program.add_subcommand(
      "watch", "Read a session's folder clip by clip, as they arrive, until Ctrl-C");
  command->footer(kFooter);
  command->add_option("DIR", arguments.folder, "Folder of the session")->type_name("")->required();
  add_output_options(*command, arguments.output);
  command->add_flag("--poll", arguments.poll,
                    "Look every second instead of waiting for the\nsystem's notifications");
  command
      ->add_option("--settle", arguments.settle_s,
                   "How long a file must stay unchanged before it is read,\nwhere its copying is "
                   "not seen to end")
      ->type_name("SECONDS")
      ->capture_default_str();
  return command;
}

int run_watch(const WatchArguments& arguments) {
  note_interrupts();
  return Watch(arguments).run();
}

}  // namespace nocktrail::cli
