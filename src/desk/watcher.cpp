#include "nocktrail/desk/watcher.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <chrono>
#include <utility>

#ifdef __GLIBC__
#include <malloc.h>
#endif

#include "nocktrail/error.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/session/kept_marks.hpp"
#include "nocktrail/tune/judgement_text.hpp"

namespace nocktrail::desk {
namespace {

namespace fs = std::filesystem;
using std::chrono::milliseconds;

// Between looks: while a copy is under way; else, where notifications wake us; where none do.
constexpr milliseconds kWhileCopying{200};
constexpr milliseconds kNotified{3000};
constexpr milliseconds kPolling{1000};
// After the results could not be written.
constexpr std::chrono::seconds kRetry{20};

session::ArrivalOptions arrival_options(const WatchSettings& settings, const fs::path& folder,
                                        const OutputSettings& output) {
  if (!(settings.settle_s >= 0.1 && settings.settle_s <= 600.0)) {
    throw BadInput(
        fmt::format("--settle: {:g} is out of range; give 0.1 to 600 seconds", settings.settle_s));
  }
  session::ArrivalOptions options;
  options.settle = milliseconds(static_cast<long>(1000.0 * settings.settle_s));
  session::ReadSessionOptions where;
  where.results = output.results;
  options.marks = session::marks_folder(folder, where);
  return options;
}

}  // namespace

Watcher::Places Watcher::places_of(const tune::SessionRecord& record) {
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

Watcher::Watcher(fs::path folder, const OutputSettings& output, const WatchSettings& settings,
                 const Voice& voice, WatchEvents events)
    : folder_(std::move(folder)),
      voice_(voice),
      events_(std::move(events)),
      poll_(settings.poll),
      output_(folder_, output, voice),
      folder_watch_(settings.poll),
      arrivals_(arrival_options(settings, folder_, output)) {}

void Watcher::run() {
  if (!poll_ && !folder_watch_.notified()) {
    output_.message("the system gives no notice of changed files; looking every second instead");
  }
  session::load(folder_);  // a folder that is not there now is a slip, not a wait
  while (!stopped()) {
    look();
    if (stopped()) {
      break;
    }
    folder_watch_.wait(!arrivals_.waiting().empty() ? kWhileCopying
                       : folder_watch_.notified()   ? kNotified
                                                    : kPolling);
  }
}

void Watcher::say(const std::string& line) const {
  if (events_.line) {
    events_.line(line);
  }
}

void Watcher::look() {
  try {
    folder_watch_.cover(folder_);
    const auto now = session::Arrivals::Clock::now();
    const bool due =
        arrivals_.look(folder_, folder_watch_.take_closed(), now, std::chrono::system_clock::now());
    name_waiting();
    if (events_.looked) {
      events_.looked(arrivals_.settled());
    }
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
      voice_.message(fmt::format("{}; waiting for it", rules::printable(away_)));
    }
  }
}

// Once for each clip whose copy goes on.
void Watcher::name_waiting() {
  std::set<fs::path> waiting;
  for (const fs::path& path : arrivals_.waiting()) {
    waiting.insert(path);
    if (waiting_.count(path) == 0 && events_.arriving) {
      events_.arriving(path);
    }
  }
  waiting_ = std::move(waiting);
}

void Watcher::read() {
  const JudgedSession judged =
      output_.run([this](const fs::path& clip) { return !arrivals_.settled(clip); });
#ifdef __GLIBC__
  malloc_trim(0);  // a watcher idles for hours and need not hold what a clip took
#endif
  const bool first = !began_;
  began_ = true;
  if (judged.read.stopped) {
    return;
  }
  if (judged.read.faults.empty()) {  // else said; a mended file is a change
    retry_ = !judged.published;      // said, too
  }
  if (judged.published) {
    note_places(places_of(judged.read.record));
    const std::string line = tune::judgement_line(judged.read.record, judged.judgement);
    if (line != last_line_) {
      last_line_ = line;
      say(line);
    }
    if (first) {
      say(fmt::format("Report: {}", rules::printable(judged.report.string())));
    }
  }
  if (events_.judged) {
    events_.judged(judged);
  }
}

// Says what became of clips that were here before.
void Watcher::note_places(Places now) {
  for (const auto& [sha256, was] : places_) {
    const auto found = now.find(sha256);
    if (found != now.end() && found->second != was) {
      say(fmt::format("{}: read before as {}", rules::printable(found->second),
                      rules::printable(was)));
    }
    if (found != now.end()) {
      continue;
    }
    std::error_code error;
    if (!fs::exists(folder_ / was, error)) {
      say(fmt::format("{}: no longer in the folder; its reading is kept", rules::printable(was)));
    } else if (std::any_of(now.begin(), now.end(),
                           [&gone = was](const auto& place) { return place.second == gone; })) {
      say(fmt::format("{}: replaced; the earlier reading is kept", rules::printable(was)));
    } else {
      now[sha256] = was;  // being replaced
    }
  }
  places_ = std::move(now);
}

}  // namespace nocktrail::desk
