#include "nocktrail/desk/session_output.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <ctime>
#include <nlohmann/json.hpp>
#include <utility>

#include "nocktrail/desk/own_files.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/logbook/logbook.hpp"
#include "nocktrail/page/page.hpp"
#include "nocktrail/report/local_time.hpp"
#include "nocktrail/rules/rules.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/session/facts_file.hpp"
#include "nocktrail/session/words.hpp"

namespace nocktrail::desk {

namespace fs = std::filesystem;

namespace {

constexpr const char* kReport = "report.html";

}  // namespace

SessionOutput::SessionOutput(fs::path folder, OutputSettings settings, Voice voice)
    : folder_(std::move(folder)), settings_(std::move(settings)), voice_(std::move(voice)) {
  if (!(settings_.dead_band_deg >= 0.0 && settings_.dead_band_deg <= rules::kWidestBand_deg)) {
    throw BadInput(
        fmt::format("--dead-band: {:g} is out of range; give a number from 0 to {:g} degrees",
                    settings_.dead_band_deg, rules::kWidestBand_deg));
  }
  if (settings_.no_logbook && !settings_.logbook.empty()) {
    throw BadInput("--logbook and --no-logbook contradict one another; leave one of them out");
  }
  options_.results = settings_.results;
  options_.archer = session::default_archer_files();
  options_.dead_band_deg = settings_.dead_band_deg;
  options_.stills = !settings_.no_stills;
  check_outputs();
}

void SessionOutput::check_outputs() {
  check_ = own_files();
  const session::Plan plan = session::load(folder_, options_.archer);
  check_.keep(plan.folder / session::kSessionFile, "what you wrote of the session");
  for (const session::PlannedSetup& setup : plan.setups) {
    check_.keep(plan.folder / setup.name / session::kSetupFile, "what you wrote of a set-up");
    for (const session::PlannedClip& clip : setup.clips) {
      check_.keep(session::on_disk(clip), "one of the session's clips");
    }
  }
  if (!settings_.logbook.empty()) {
    check_.check_logbook("--logbook", settings_.logbook);
    check_.keep_logbook(settings_.logbook);
  }
  if (!settings_.results.empty()) {
    check_.check_results("--results", settings_.results);
  }
}

void SessionOutput::message(const std::string& line) {
  if (std::find(said_.begin(), said_.end(), line) == said_.end()) {
    voice_.message(rules::printable(line));
    said_.push_back(line);
  }
}

void SessionOutput::note_clip(const std::string& setup, const tune::ClipRecord& clip, bool fresh) {
  const std::string line = session::clip_line(setup, clip);
  if (fresh && voice_.clip) {
    voice_.clip(setup, clip, line);
    said_.push_back(line);
  } else if (clip.reading.status == ClipStatus::error) {
    message(line);  // in every run: it decides the exit status
  }
}

JudgedSession SessionOutput::run(const std::function<bool(const fs::path&)>& not_yet) {
  options_.not_yet = not_yet;
  session::SessionEvents events;
  events.stop = voice_.stop;
  events.message = [this](const std::string& line) { message(line); };
  events.step = voice_.step;
  events.read = voice_.read;
  events.clip = [this](const std::string& setup, const tune::ClipRecord& clip, bool fresh) {
    note_clip(setup, clip, fresh);
  };
  JudgedSession judged;
  judged.read = session::read_session(
      folder_, options_, events,
      [&](const session::SessionRead& read, const report::OwnFolder& results) {
        judged.hindered = publish(read, results, judged.judgement);
        judged.published = judged.hindered.empty();
        judged.report = results.path() / kReport;
        return judged.published;
      });
  for (const std::string& fault : judged.read.faults) {
    message(fault);
  }
  if (judged.read.stopped || !judged.read.faults.empty()) {
    return judged;
  }
  if (!judged.published) {
    if (judged.hindered.empty()) {
      judged.hindered = "the session's results cannot be written, or a clip failed";
    }
    say_what_remains(judged.read);
  }
  judged.failed = judged.read.failed || !judged.published;
  return judged;
}

void SessionOutput::say_what_remains(const session::SessionRead& read) {
  message(fmt::format(
      "nothing was judged, written or recorded, and what was before still stands; {} clips are "
      "read and kept, {} are left: mend what is named above and run again",
      read.fresh + read.kept, read.unread));
}

// Everything that may lack room comes first: the files beside their places, then the logbook, of
// which either all is recorded or nothing. What is left then is renaming.
std::string SessionOutput::publish(const session::SessionRead& read,
                                   const report::OwnFolder& results,
                                   tune::SessionJudgement& judgement) {
  std::string hindered;
  try {
    tune::JudgementOptions options;
    options.dead_band_deg = settings_.dead_band_deg;
    judgement = tune::judge_session(read.record, options);
    page::PageOptions page;
    page.dead_band_deg = settings_.dead_band_deg;
    page.stills = !settings_.no_stills;
    page.still = [&read](const tune::SetupRecord&, const tune::ClipRecord& clip) {
      const auto at = read.drawn.find(fs::path(clip.still).filename().string());
      return at == read.drawn.end() ? fs::path() : at->second;
    };
    page.written_at = report::local_words(std::time(nullptr));
    const std::string sheet = "build-sheet.html";
    report::OwnFolder::Publication files(results);
    files.add("session.json",
              session::session_json(read.record, judgement, read.messages).dump(2) + "\n");
    files.add(kReport, page::page_html(read.record, judgement, page));
    if (judgement.build_sheet) {
      files.add(sheet, page::build_sheet_html(read.record, judgement, page));
    }
    if (!settings_.no_logbook) {
      record(read, judgement);
    }
    files.commit();
    if (!judgement.build_sheet) {
      results.remove(sheet);  // one from before the clips or facts changed would mislead
    }
  } catch (const BadInput& problem) {
    hindered = problem.what();
  } catch (const std::exception& problem) {
    hindered = fmt::format("fault in the program itself, in judging: {}", problem.what());
  }
  if (!hindered.empty()) {
    message(hindered);
  }
  return hindered;
}

fs::path SessionOutput::logbook_file(const tune::SessionRecord& session) const {
  if (!settings_.logbook.empty()) {
    return settings_.logbook;
  }
  if (session.made_up.empty()) {
    return logbook::default_file();
  }
  fs::path file = fs::path(session.folder) / kMadeUpLogbook;
  std::error_code error;
  if (fs::is_symlink(fs::symlink_status(file, error))) {  // the folder may be somebody else's
    throw BadInput(fmt::format("{}: is a link; remove it", rules::printable(file.string())));
  }
  return file;
}

void SessionOutput::record(const session::SessionRead& read,
                           const tune::SessionJudgement& judgement) {
  try {
    const fs::path file = logbook_file(read.record);
    const std::vector<tune::SetupRecord>& setups = read.record.setups;
    const bool empty = std::all_of(setups.begin(), setups.end(),
                                   [](const tune::SetupRecord& one) { return one.clips.empty(); });
    std::error_code error;
    if (empty && !fs::exists(file, error)) {
      return;  // no clip yet is no reason to make a logbook
    }
    logbook::Logbook book(file);
    const logbook::Recorded recorded = book.record(read.record, judgement);
    for (const logbook::NewName& name : recorded.new_names) {
      message(logbook::in_words(name));
    }
    if (recorded.forgotten) {
      message(
          fmt::format("this session is forgotten in the logbook {}; nocktrail logbook remember "
                      "--session takes it back",
                      file.string()));
    }
  } catch (const BadInput& problem) {
    throw BadInput(fmt::format("{}; --no-logbook does without it for this time", problem.what()));
  }
}

}  // namespace nocktrail::desk
