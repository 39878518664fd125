#include <fmt/format.h>

#include <algorithm>
#include <atomic>
#include <chrono>
#include <ctime>
#include <map>
#include <mutex>
#include <system_error>
#include <thread>
#include <utility>

#include "clip_job.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/media/clip.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/session/session.hpp"
#include "nocktrail/tune/facts_words.hpp"
#include "nocktrail/tune/gate.hpp"
#include "nocktrail/tune/same_flight.hpp"
#include "nocktrail/version.hpp"
#include "results.hpp"

namespace nocktrail::session {
namespace {

namespace fs = std::filesystem;

constexpr std::chrono::milliseconds kLockRetry{200};

class Run {
 public:
  Run(const fs::path& folder, const ReadSessionOptions& options, const SessionEvents& events,
      const WhileHeld& while_held)
      : options_(options),
        events_(events),
        while_held_(while_held),
        plan_(load(folder, options.archer)),
        marks_(marks_folder(plan_.folder, options)),
        draw_(options.draw ? options.draw : DrawFunction(draw_with_picture)) {}

  SessionRead run() {
    if (!plan_.faults.empty()) {  // before a folder for results is made
      return faulty();
    }
    Results results(results_folder(plan_.folder, options_), !options_.results.empty(),
                    [this](const std::string& line) { message(line); });
    results_ = &results;
    if (!wait_for_lock()) {
      out_.stopped = true;
      return std::move(out_);
    }
    plan_ = load(plan_.folder, options_.archer);  // it may have changed while we waited
    if (!plan_.faults.empty()) {
      return faulty();
    }
    note_plan();
    results.load_files();
    gather();
    in_parallel([this](Job& job) { hash(job); });
    take_content_once();
    name_stills();
    keep_files();
    done_ = 0;
    if (!halt_) {
      in_parallel([this](Job& job) { make(job); });
    }
    say_away();
    find_stills();
    fill_record();
    if (!out_.stopped && !out_.halted && (!while_held_ || while_held_(out_, results.folder()))) {
      publish_stills();
    }
    return std::move(out_);
  }

 private:
  void note_plan() {
    for (const std::string& line : plan_.messages) {
      message(line);
    }
    out_.record.name = plan_.name;
    out_.record.folder = plan_.folder.string();
    out_.record.made_up = plan_.made_up;
  }

  SessionRead faulty() {
    note_plan();
    out_.faults = plan_.faults;
    return std::move(out_);
  }

  bool asked_to_stop() { return events_.stop && events_.stop(); }

  void message(const std::string& line) {
    const std::lock_guard<std::mutex> guard(mutex_);
    out_.messages.push_back(line);
    if (events_.message) {
      events_.message(line);
    }
  }

  // A fault of the run, such as want of room: no use in going on.
  void fail(const std::string& line) {
    halt_ = true;
    {
      const std::lock_guard<std::mutex> guard(mutex_);
      if (out_.halted) {
        return;  // two workers meet the same full disk
      }
      out_.halted = true;
    }
    message(line);
  }

  // One clip that trips the program must not cost the others their readings.
  void trip(Job& job, const char* what) {
    if (job.ready) {
      throw std::runtime_error(what);  // by whoever was told of it, not by the clip
    }
    blame(job, what);
    job.record.reading = tripped();
    finish(job, false);
    ++done_;
  }

  void blame(const Job& job, const char* what) {
    message(fmt::format("{}: fault in the program itself: {}", job.name(), what));
    const std::lock_guard<std::mutex> guard(mutex_);
    out_.failed = true;
  }

  bool wait_for_lock() {
    for (bool said = false; !results_->try_lock(); said = true) {
      if (!said) {
        message(fmt::format("{}: another nocktrail is at work here; waiting for it to finish",
                            rules::printable(results_->folder().path().string())));
      }
      if (asked_to_stop()) {
        return false;
      }
      std::this_thread::sleep_for(kLockRetry);
    }
    return true;
  }

  void gather() {
    for (const PlannedSetup& setup : plan_.setups) {
      for (const PlannedClip& clip : setup.clips) {
        if (options_.not_yet && options_.not_yet(clip.path)) {
          ++out_.unread;
          continue;
        }
        Job job;
        job.setup = &setup;
        job.clip = &clip;
        jobs_.push_back(std::move(job));
      }
    }
  }

  template <typename Work>
  void in_parallel(Work work) {
    std::atomic<std::size_t> next{0};
    const auto worker = [&] {
      for (std::size_t i = next++; i < jobs_.size() && !halt_; i = next++) {
        if (asked_to_stop()) {
          stop();
          return;
        }
        try {
          try {
            work(jobs_[i]);
          } catch (const std::exception& problem) {
            trip(jobs_[i], problem.what());
          } catch (...) {
            trip(jobs_[i], "of an unknown kind");
          }
        } catch (const std::exception& problem) {
          // Not even that could be said of the clip: the machine is at its end.
          fail(fmt::format("fault in the program itself: {}", problem.what()));
        }
      }
    };
    const std::size_t wanted = std::max(1U, options_.workers);
    std::vector<std::jthread> pool;
    try {
      for (std::size_t k = 1; k < std::min(wanted, jobs_.size()); ++k) {
        pool.emplace_back(worker);
      }
    } catch (const std::system_error&) {
      // No more threads to be had: slower, and the same.
    }
    worker();
  }

  void stop() {
    halt_ = true;
    const std::lock_guard<std::mutex> guard(mutex_);
    out_.stopped = true;
  }

  // --- what is in each file -------------------------------------------------------------------

  void hash(Job& job) {
    tell(job, "looking", 0.0);
    if (job.clip->away) {
      take_stand_in(job);
      ++done_;
      return;
    }
    try {
      job.sha256 = results_->sha256_of(job.clip->path);
    } catch (const UnreadableClip& problem) {
      std::error_code error;
      if (!fs::exists(job.clip->path, error)) {
        return;  // gone since the folder was listed
      }
      refuse(job, problem.what());
    }
    ++done_;
  }

  void refuse(Job& job, const std::string& why) {
    job.record.reading.clip.path = job.clip->path.string();
    job.record.reading.status = ClipStatus::error;
    job.record.reading.reason = why;
    finish(job, false);
  }

  void take_stand_in(Job& job) {
    try {
      job.stands_in = stand_in(job, marks_);
      job.sha256 = job.stands_in->reading.clip.sha256;
    } catch (const BadInput& problem) {
      std::error_code error;
      if (fs::exists(on_disk(*job.clip), error)) {  // else gone since the folder was listed
        refuse(job, problem.what());
      }
    }
  }

  void take_content_once() {
    std::map<std::string, const Job*> first;
    std::vector<Job> kept;
    kept.reserve(jobs_.size());  // `first` points into it
    for (Job& job : jobs_) {
      if (job.sha256.empty() && !job.ready) {
        out_.unread += halt_ ? 1U : 0U;  // not looked at any more; else it is gone
        continue;
      }
      if (!job.ready) {
        const auto known = first.find(job.sha256);
        if (known != first.end()) {
          message(fmt::format("{}: has the same content as {} and is counted once, there",
                              job.name(), known->second->name()));
          continue;
        }
      }
      kept.push_back(std::move(job));
      if (!kept.back().ready) {
        first[kept.back().sha256] = &kept.back();
      }
    }
    jobs_ = std::move(kept);
  }

  void keep_files() {
    try {
      results_->keep_files();
    } catch (const BadInput& problem) {
      fail(problem.what());
    }
  }

  // --- reading --------------------------------------------------------------------------------

  void tell(const Job& job, const std::string& what, double share) {
    const std::lock_guard<std::mutex> guard(mutex_);
    if (events_.step) {
      events_.step({done_, jobs_.size(), job.name(), what, share});
    }
  }

  void make(Job& job) {
    if (job.ready) {
      ++done_;
      return;
    }
    ReadWith with = read_with(job);
    std::optional<StoredReading> stored =
        job.clip->away ? std::exchange(job.stands_in, {})
                       : stored_reading(job, marks_, *results_, with,
                                        [this](const auto& line) { message(line); });
    const bool fresh = !stored.has_value();
    if (fresh) {
      stored = read(job, with);
      if (!stored) {
        return;  // stopped, gone, changed, or could not be kept
      }
    }
    take_stored(job, std::move(*stored));
    judge(job, options_.dead_band_deg);
    if (fresh) {
      tell_read(job);
    }
    if (options_.stills && !job.clip->away) {
      draw(job, with);
    }
    finish(job, fresh);
    ++done_;
  }

  std::optional<StoredReading> read(const Job& job, const ReadWith& with) {
    StoredReading stored = begun_reading(job, with);
    bool worth_keeping = true;
    try {
      stored.reading =
          make_reading(job, with, options_, [&](const std::string& what, double share) {
            tell(job, what, share);
            return !halt_ && !asked_to_stop();
          });
    } catch (const Interrupted&) {
      if (!halt_) {
        stop();
      }
      return std::nullopt;
    } catch (const std::exception& problem) {
      blame(job, problem.what());
      stored.reading = tripped();
      worth_keeping = false;
    }
    if (!still_the_same(job)) {
      return std::nullopt;
    }
    stored.reading.clip.sha256 = job.sha256;
    if (worth_keeping) {
      try {
        results_->keep(job.sha256, stored);
      } catch (const BadInput& problem) {
        fail(problem.what());
        return std::nullopt;
      }
    }
    return stored;
  }

  bool still_the_same(const Job& job) {
    try {
      if (results_->sha256_of(job.clip->path) == job.sha256) {
        return true;
      }
      message(fmt::format("{}: changed while it was being read; the next run reads it again",
                          job.name()));
    } catch (const UnreadableClip&) {
      message(fmt::format("{}: went away while it was being read", job.name()));
    }
    return false;
  }

  // --- stills ---------------------------------------------------------------------------------

  void draw(Job& job, const ReadWith& with) {
    const Reading& reading = job.record.reading;
    if (reading.status == ClipStatus::error) {
      return;
    }
    const std::string judged_by = judged_by_words(job, with, options_.dead_band_deg);
    const std::size_t pictures = std::max<std::size_t>(reading.shots.size(), 1);
    StillStore& stills = results_->stills();
    job.still_ids.resize(pictures);
    job.record.stills.resize(pictures);
    bool shows_measured = false;
    for (std::size_t shot = 0; shot < pictures && !halt_; ++shot) {
      const std::string id = StillStore::id_of(job.sha256, judged_by, shot);
      if (!stills.find(id) && !draw_one(job, id, shot)) {
        continue;
      }
      job.still_ids[shot] = id;
      std::string& still = job.record.stills[shot];
      still = stills.path_of(StillStore::name_of(job.still_stem, shot))
                  .lexically_relative(plan_.folder)
                  .generic_string();
      const bool measured =
          shot < reading.shots.size() && reading.shots[shot].status == ShotStatus::measured;
      if (job.record.still.empty() || (measured && !shows_measured)) {
        job.record.still = still;
        shows_measured = measured;
      }
    }
  }

  bool draw_one(const Job& job, const std::string& id, std::size_t shot) {
    std::string png;
    try {
      tell(job, "drawing", 1.0);
      png = draw_(job.record.reading,
                  {job.clip->path, shot, hand_of(job), options_.dead_band_deg,
                   tune::particulars(job.setup->facts), tune::stop_texts(job.setup->facts)});
    } catch (const std::exception& problem) {
      message(fmt::format("{}: its still could not be drawn: {}", job.name(), problem.what()));
    }
    if (png.empty()) {
      return false;
    }
    try {
      results_->stills().keep(id, png);
    } catch (const BadInput& problem) {
      fail(problem.what());
      return false;
    }
    return true;
  }

  // By what follows from where the clips lie, before any is read.
  void name_stills() {
    for (Job& job : jobs_) {
      if (!job.clip->away) {
        job.still_stem = results_->stills().stem_for(job.setup->name, job.clip->path);
      }
    }
  }

  // Where they lie until they have their names.
  void find_stills() {
    for (const Job& job : jobs_) {
      for (std::size_t shot = 0; shot < job.still_ids.size(); ++shot) {
        if (const auto at = results_->stills().find(job.still_ids[shot])) {
          out_.drawn[named_
                         .emplace_back(StillStore::Named{job.still_ids[shot],
                                                         StillStore::name_of(job.still_stem, shot),
                                                         job.clip->path})
                         .name] = *at;
        }
      }
    }
  }

  // Only once nothing refers to what had these names before.
  void publish_stills() {
    try {
      results_->stills().name_all(named_);
    } catch (const BadInput& problem) {
      message(problem.what());
    }
  }

  // --- the record -----------------------------------------------------------------------------

  void tell_read(Job& job) {
    tell_particulars(job);
    const std::lock_guard<std::mutex> guard(mutex_);
    if (events_.read) {
      events_.read(job.setup->name, job.record);
    }
  }

  void finish(Job& job, bool fresh) {
    tell_particulars(job);
    const tune::ClipRecord& record = job.record;
    if (const int shots = static_cast<int>(record.reading.shots.size());
        !record.dropped_shots.empty() && record.dropped_shots.rbegin()->first > shots) {
      message(fmt::format("{}: shot {} is to be left out, but the clip holds {}", job.name(),
                          record.dropped_shots.rbegin()->first, shots));
    }
    job.ready = true;
    const std::lock_guard<std::mutex> guard(mutex_);
    ++(fresh ? out_.fresh : out_.kept);
    if (events_.clip) {
      events_.clip(job.setup->name, record, fresh);
    }
  }

  void say_away() {
    const auto away = std::count_if(jobs_.begin(), jobs_.end(),
                                    [](const Job& job) { return job.clip->away && job.ready; });
    if (away > 0) {
      message(fmt::format("{} of {} clips are not here: readings made elsewhere stand in for them",
                          away, jobs_.size()));
    }
  }

  void fill_record() {
    for (const PlannedSetup& setup : plan_.setups) {
      tune::SetupRecord record;
      record.name = setup.name;
      record.facts = setup.facts;
      for (Job& job : jobs_) {
        if (job.setup == &setup && job.ready) {
          record.clips.push_back(std::move(job.record));
        } else if (job.setup == &setup) {
          ++out_.unread;
        }
      }
      out_.record.setups.push_back(std::move(record));
    }
    for (const std::string& line : tune::count_each_flight_once(out_.record)) {
      message(line);
    }
  }

  const ReadSessionOptions& options_;
  const SessionEvents& events_;
  const WhileHeld& while_held_;
  Plan plan_;
  KeptMarks marks_;
  DrawFunction draw_;
  Results* results_ = nullptr;
  std::vector<Job> jobs_;
  std::vector<StillStore::Named> named_;
  std::atomic<std::size_t> done_{0};
  std::atomic<bool> halt_{false};
  std::mutex mutex_;  // of out_ and the events
  SessionRead out_;
};

}  // namespace

fs::path results_folder(const fs::path& folder, const ReadSessionOptions& options) {
  std::error_code error;
  return options.results.empty()
             ? folder / kResultsFolder
             : fs::weakly_canonical(fs::absolute(options.results, error), error);
}

SessionRead read_session(const fs::path& folder, const ReadSessionOptions& options,
                         const SessionEvents& events, const WhileHeld& while_held) {
  return Run(folder, options, events, while_held).run();
}

}  // namespace nocktrail::session
