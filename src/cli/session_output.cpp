#include "session_output.hpp"

#include <fmt/chrono.h>
#include <fmt/format.h>

#include <CLI/App.hpp>
#include <CLI/Config.hpp>
#include <CLI/Formatter.hpp>
#include <algorithm>
#include <cstdio>
#include <ctime>
#include <nlohmann/json.hpp>

#include "exit_status.hpp"
#include "interrupt.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/logbook/logbook.hpp"
#include "nocktrail/page/page.hpp"
#include "nocktrail/report/own_folder.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/session/facts_file.hpp"
#include "nocktrail/session/words.hpp"
#include "own_files.hpp"

namespace nocktrail::cli {
namespace {

namespace fs = std::filesystem;

// Never throws, as fmt::print does: what takes no more words (a full disk, a closed pipe) must not
// stop the work, least of all in a reader's thread.
void say(FILE* to, const std::string& words) {
  std::fputs(words.c_str(), to);
  std::fflush(to);
}

}  // namespace

void add_output_options(CLI::App& command, SessionOutputArguments& arguments) {
  command
      .add_option("--results", arguments.results,
                  "Folder for the results, when they cannot lie\nbeside the clips")
      ->type_name("DIR");
  command
      .add_option("--logbook", arguments.logbook,
                  "Record in this logbook; else in the one in the\nuser's data directory")
      ->type_name("FILE");
  command.add_flag("--no-logbook", arguments.no_logbook, "Record in no logbook");
  command.add_flag("--no-stills", arguments.no_stills, "Draw no pictures");
  command
      .add_option("--dead-band", arguments.dead_band_deg,
                  "Offsets smaller than this count as straight")
      ->type_name("DEG")
      ->capture_default_str();
  command.add_flag("--quiet", arguments.quiet, "No progress and no line for each clip");
}

SessionOutput::SessionOutput(std::string folder, const SessionOutputArguments& arguments)
    : folder_(std::move(folder)), arguments_(arguments), progress_(!arguments.quiet) {
  if (!(arguments.dead_band_deg >= 0.0 && arguments.dead_band_deg <= 10.0)) {
    throw BadInput(
        fmt::format("--dead-band: {:g} is out of range; give a number from 0 to 10 "
                    "degrees",
                    arguments.dead_band_deg));
  }
  if (arguments.no_logbook && !arguments.logbook.empty()) {
    throw BadInput("--logbook and --no-logbook contradict one another; leave one of them out");
  }
  options_.results = arguments.results;
  options_.phones_file = session::default_phones_file();
  options_.dead_band_deg = arguments.dead_band_deg;
  options_.stills = !arguments.no_stills;
  check_outputs();
}

void SessionOutput::check_outputs() {
  check_ = own_files();
  const session::Plan plan = session::load(folder_, options_.phones_file);
  check_.keep(plan.folder / session::kSessionFile, "what you wrote of the session");
  for (const session::PlannedSetup& setup : plan.setups) {
    check_.keep(plan.folder / setup.name / session::kSetupFile, "what you wrote of a set-up");
    for (const session::PlannedClip& clip : setup.clips) {
      check_.keep(clip.path, "one of the session's clips");
    }
  }
  if (!arguments_.logbook.empty()) {
    check_.check_logbook("--logbook", arguments_.logbook);
    check_.keep_logbook(arguments_.logbook);
  }
  if (!arguments_.results.empty()) {
    check_.check_results("--results", arguments_.results);
  }
}

void SessionOutput::message(const std::string& line) {
  if (std::find(said_.begin(), said_.end(), line) == said_.end()) {
    progress_.clear();
    say(stderr, fmt::format("nocktrail: {}\n", rules::printable(line)));
    said_.push_back(line);
  }
}

JudgedSession SessionOutput::run(const std::function<bool(const fs::path&)>& not_yet,
                                 FILE* clips_to) {
  options_.not_yet = not_yet;
  session::SessionEvents events;
  events.stop = interrupted;
  events.message = [this](const std::string& line) { message(line); };
  events.step = [this](const session::SessionEvents::Step& step) {
    progress_.show(fmt::format("{} of {}: {}: {} {:.0f} %", step.done + 1, step.total, step.clip,
                               step.what, 100.0 * step.share));
  };
  events.clip = [&](const std::string& setup, const tune::ClipRecord& clip, bool fresh) {
    const bool unreadable = clip.reading.status == ClipStatus::error;
    const std::string line = session::clip_line(setup, clip);
    if (fresh && !arguments_.quiet) {
      progress_.clear();
      say(clips_to, line + "\n");
      said_.push_back(line);
    } else if (unreadable) {
      message(line);  // in every run: it decides the exit status
    }
  };
  JudgedSession judged;
  judged.read = session::read_session(
      folder_, options_, events,
      [&](const session::SessionRead& read, const report::OwnFolder& results) {
        judged.published = publish(read, results, judged.judgement);
        return judged.published;
      });
  progress_.clear();
  for (const std::string& fault : judged.read.faults) {
    message(fault);
  }
  if (judged.read.stopped || !judged.read.faults.empty()) {
    return judged;
  }
  if (!judged.published) {
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
bool SessionOutput::publish(const session::SessionRead& read, const report::OwnFolder& results,
                            tune::SessionJudgement& judgement) {
  progress_.clear();
  try {
    tune::JudgementOptions options;
    options.dead_band_deg = arguments_.dead_band_deg;
    judgement = tune::judge_session(read.record, options);
    page::PageOptions page;
    page.dead_band_deg = arguments_.dead_band_deg;
    page.stills = !arguments_.no_stills;
    page.written_at = fmt::format("{:%Y-%m-%d %H:%M} UTC", fmt::gmtime(std::time(nullptr)));
    const std::string sheet = "build-sheet.html";
    report::OwnFolder::Publication files(results);
    files.add("session.json",
              session::session_json(read.record, judgement, read.messages).dump(2) + "\n");
    files.add("report.html", page::page_html(read.record, judgement, page));
    if (judgement.build_sheet) {
      files.add(sheet, page::build_sheet_html(read.record, judgement, page));
    }
    if (!arguments_.no_logbook) {
      record(read, judgement);
    }
    files.commit();
    if (!judgement.build_sheet) {
      results.remove(sheet);  // one from before the clips or facts changed would mislead
    }
    return true;
  } catch (const BadInput& problem) {
    message(problem.what());
  } catch (const std::exception& problem) {
    message(fmt::format("fault in the program itself, in judging: {}", problem.what()));
  }
  return false;
}

void SessionOutput::record(const session::SessionRead& read,
                           const tune::SessionJudgement& judgement) {
  try {
    logbook::Logbook book(arguments_.logbook.empty() ? logbook::default_file()
                                                     : fs::path(arguments_.logbook));
    book.record(read.record, judgement);
  } catch (const BadInput& problem) {
    throw BadInput(fmt::format("{}; --no-logbook does without it for this time", problem.what()));
  }
}

int session_status(const JudgedSession& judged) {
  if (judged.failed) {
    return kProgramFault;
  }
  bool unreadable = false;
  bool measured = false;
  for (const tune::SetupRecord& setup : judged.read.record.setups) {
    for (const tune::ClipRecord& clip : setup.clips) {
      unreadable = unreadable || clip.reading.status == ClipStatus::error;
      measured = measured || clip.reading.status == ClipStatus::measured;
    }
  }
  if (unreadable) {
    return kUnreadable;
  }
  return measured ? kAllMeasured : kNotMeasured;
}

}  // namespace nocktrail::cli
