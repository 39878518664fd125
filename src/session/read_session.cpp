#include <fmt/chrono.h>
#include <fmt/format.h>

#include <atomic>
#include <chrono>
#include <cmath>
#include <ctime>
#include <map>
#include <mutex>
#include <thread>

#include "file_stamp.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/media/clip.hpp"
#include "nocktrail/media/image_file.hpp"
#include "nocktrail/picture/frames.hpp"
#include "nocktrail/picture/still.hpp"
#include "nocktrail/report/atomic_file.hpp"
#include "nocktrail/rules/rules.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/session/session.hpp"
#include "nocktrail/tune/facts_words.hpp"
#include "nocktrail/tune/gate.hpp"
#include "nocktrail/version.hpp"
#include "results.hpp"

namespace nocktrail::session {
namespace {

namespace fs = std::filesystem;

constexpr std::chrono::milliseconds kLockRetry{200};

std::string utc(std::time_t t) {
  return fmt::format("{:%Y-%m-%dT%H:%M:%SZ}", fmt::gmtime(t));
}

std::string draw_with_picture(const Reading& reading, const StillRequest& request) {
  picture::StillOptions still;
  still.hand = request.hand;
  still.dead_band_deg = request.dead_band_deg;
  still.particulars = request.particulars;
  still.stops = request.stops;
  still.next_step = false;
  return media::png_bytes(
      picture::draw_still(reading, request.shot, picture::frames_of(request.clip), still));
}

// One clip on its way from the plan to the record.
struct Job {
  const PlannedSetup* setup = nullptr;
  const PlannedClip* clip = nullptr;
  std::string sha256;
  tune::ClipRecord record;
  bool ready = false;

  std::string name() const {
    const std::string file = clip->path.filename().string();
    return rules::printable(setup->name == "." ? file : setup->name + "/" + file);
  }
};

class Run {
 public:
  Run(const fs::path& folder, const ReadSessionOptions& options, const SessionEvents& events)
      : options_(options),
        events_(events),
        plan_(load(folder, options.phones_file)),
        read_(options.read ? options.read : ReadFunction(read_clip)),
        draw_(options.draw ? options.draw : DrawFunction(draw_with_picture)) {}

  SessionRead run() {
    for (const std::string& line : plan_.messages) {
      message(line);
    }
    out_.record.name = plan_.name;
    out_.record.folder = plan_.folder.string();
    if (!plan_.faults.empty()) {
      out_.faults = plan_.faults;
      return std::move(out_);
    }
    std::error_code error;
    Results results(
        fs::weakly_canonical(fs::absolute(results_folder(plan_.folder, options_), error), error));
    results_ = &results;
    if (!wait_for_lock()) {
      out_.stopped = true;
      return std::move(out_);
    }
    gather();
    in_parallel([this](Job& job) { hash(job); });
    take_content_once();
    keep_files();
    done_ = 0;
    if (!out_.failed) {
      in_parallel([this](Job& job) { make(job); });
    }
    fill_record();
    return std::move(out_);
  }

 private:
  bool asked_to_stop() { return events_.stop && events_.stop(); }

  void message(const std::string& line) {
    const std::lock_guard<std::mutex> guard(mutex_);
    out_.messages.push_back(line);
    if (events_.message) {
      events_.message(line);
    }
  }

  // For want of room or by a fault of ours: no use in going on.
  void fail(const std::string& line) {
    halt_ = true;
    {
      const std::lock_guard<std::mutex> guard(mutex_);
      if (out_.failed) {
        return;  // two workers meet the same full disk
      }
      out_.failed = true;
    }
    message(line);
  }

  bool wait_for_lock() {
    for (bool said = false; !results_->try_lock(); said = true) {
      if (!said) {
        message(fmt::format("{}: another nocktrail is at work here; waiting for it to finish",
                            rules::printable(results_->folder().string())));
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
          work(jobs_[i]);
        } catch (const std::exception& problem) {
          fail(fmt::format("{}: fault in the program itself: {}", jobs_[i].name(), problem.what()));
        }
      }
    };
    const std::size_t wanted = std::max(1U, options_.workers);
    std::vector<std::jthread> pool;
    for (std::size_t k = 1; k < std::min(wanted, jobs_.size()); ++k) {
      pool.emplace_back(worker);
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
    try {
      job.sha256 = results_->sha256_of(job.clip->path);
    } catch (const UnreadableClip& problem) {
      std::error_code error;
      if (!fs::exists(job.clip->path, error)) {
        return;  // gone since the folder was listed
      }
      job.record.reading.clip.path = job.clip->path.string();
      job.record.reading.status = ClipStatus::error;
      job.record.reading.reason = problem.what();
      finish(job, false);
    }
    ++done_;
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

  Hand hand_of(const Job& job) const {
    return job.clip->hand != Hand::unknown ? job.clip->hand : job.setup->facts.hand;
  }
  std::optional<double> cant_of(const Job& job) const {
    return job.clip->cant_deg ? job.clip->cant_deg : job.setup->facts.cant_deg;
  }

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
    ReadWith with;
    with.arrow_length_m = job.setup->facts.arrow.arrow_length_m;
    with.focal_35mm = job.clip->focal_35mm;
    with.capture_fps = job.clip->capture_fps;
    with.program_version = kVersion;
    std::optional<StoredReading> stored = results_->find(job.sha256, with);
    const bool fresh = !stored.has_value();
    if (fresh) {
      stored = read(job, with);
      if (!stored) {
        return;  // stopped, gone or changed
      }
    }
    job.record.reading = std::move(stored->reading);
    job.record.reading.clip.path = job.clip->path.string();
    job.record.program_version = stored->with.program_version;
    job.record.read_at_utc = stored->read_at_utc;
    job.record.filmed_at_utc = stored->filmed_at_utc;
    judge(job);
    if (options_.stills) {
      draw(job, with);
    }
    finish(job, fresh);
    ++done_;
  }

  std::optional<StoredReading> read(const Job& job, const ReadWith& with) {
    ReadClipOptions options;
    options.hand = hand_of(job);
    options.cant_deg = cant_of(job);
    options.arrow_length_m = with.arrow_length_m;
    options.focal_35mm = with.focal_35mm;
    options.capture_fps = with.capture_fps;
    options.dead_band_deg = options_.dead_band_deg;
    StoredReading stored;
    stored.with = with;
    stored.read_at_utc = utc(std::time(nullptr));
    if (const std::optional<std::time_t> filmed = media::filmed_at(job.clip->path)) {
      stored.filmed_at_utc = utc(*filmed);
    }
    bool worth_keeping = true;
    try {
      stored.reading = read_(job.clip->path, options, [&](const std::string& what, double share) {
        tell(job, what, share);
        return !halt_ && !asked_to_stop();
      });
    } catch (const Interrupted&) {
      if (!halt_) {
        stop();
      }
      return std::nullopt;
    } catch (const std::exception& problem) {
      // One clip that trips the program must not cost the others their readings.
      message(fmt::format("{}: fault in the program itself: {}", job.name(), problem.what()));
      stored.reading = Reading{};
      stored.reading.status = ClipStatus::error;
      stored.reading.reason = "The program itself failed on this clip; please report it.";
      worth_keeping = false;
      const std::lock_guard<std::mutex> guard(mutex_);
      out_.failed = true;
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

  void judge(Job& job) {
    const rules::JudgeOptions judge{
        .hand = hand_of(job),
        .cant_deg = cant_of(job),
        .fletched = job.setup->facts.arrow.fletching == tune::Fletching::fletched,
        .dead_band_deg = options_.dead_band_deg};
    for (Shot& shot : job.record.reading.shots) {
      rules::judge_shot(shot, judge);
    }
  }

  // --- stills ---------------------------------------------------------------------------------

  void draw(Job& job, const ReadWith& with) {
    const Reading& reading = job.record.reading;
    if (reading.status == ClipStatus::error) {
      return;
    }
    const std::optional<double> cant = cant_of(job);
    const std::string judged_by =
        fmt::format("{} {} {} {} {} {} {} {} {}", static_cast<int>(hand_of(job)),
                    cant ? fmt::format("{:.7g}", *cant) : "-", options_.dead_band_deg,
                    with.arrow_length_m.value_or(0.0), with.focal_35mm.value_or(0.0),
                    with.capture_fps.value_or(0.0), with.program_version,
                    fmt::join(tune::particulars(job.setup->facts), "\n"),
                    fmt::join(tune::stop_texts(job.setup->facts), "\n"));
    const std::size_t pictures = std::max<std::size_t>(reading.shots.size(), 1);
    bool shows_measured = false;
    for (std::size_t shot = 0; shot < pictures && !halt_; ++shot) {
      const fs::path path = results_->still(job.sha256, judged_by, shot);
      std::error_code error;
      if (!fs::exists(path, error) && !draw_one(job, path, shot, judged_by)) {
        continue;
      }
      const bool measured =
          shot < reading.shots.size() && reading.shots[shot].status == ShotStatus::measured;
      if (job.record.still.empty() || (measured && !shows_measured)) {
        job.record.still = path.lexically_relative(plan_.folder).generic_string();
        shows_measured = measured;
      }
    }
  }

  bool draw_one(const Job& job, const fs::path& path, std::size_t shot,
                const std::string& judged_by) {
    try {
      tell(job, "drawing", 1.0);
      const std::string png =
          draw_(job.record.reading,
                {job.clip->path, shot, hand_of(job), options_.dead_band_deg,
                 tune::particulars(job.setup->facts), tune::stop_texts(job.setup->facts)});
      if (png.empty()) {
        return false;
      }
      report::write_file_whole(path, png);
      results_->drop_other_stills(job.sha256, judged_by);
      return true;
    } catch (const BadInput& problem) {
      fail(problem.what());
    } catch (const std::exception& problem) {
      message(fmt::format("{}: its still could not be drawn: {}", job.name(), problem.what()));
    }
    return false;
  }

  // --- the record -----------------------------------------------------------------------------

  void finish(Job& job, bool fresh) {
    tune::ClipRecord& record = job.record;
    record.file = job.clip->path.filename().string();
    record.sha256 = job.sha256;
    record.dropped = job.clip->dropped;
    record.dropped_shots = job.clip->dropped_shots;
    record.hand = job.clip->hand;
    record.cant_deg = job.clip->cant_deg;
    if (record.program_version.empty()) {
      record.program_version = kVersion;
      record.read_at_utc = utc(std::time(nullptr));
    }
    // Without a tag of the clip's own: phones and most ways of copying keep it as the file's.
    if (const std::optional<struct stat> file = file_status(job.clip->path);
        record.filmed_at_utc.empty() && file) {
      record.filmed_at_utc = utc(file->st_mtim.tv_sec);
    }
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
  }

  const ReadSessionOptions& options_;
  const SessionEvents& events_;
  Plan plan_;
  ReadFunction read_;
  DrawFunction draw_;
  Results* results_ = nullptr;
  std::vector<Job> jobs_;
  std::atomic<std::size_t> done_{0};
  std::atomic<bool> halt_{false};
  std::mutex mutex_;  // of out_ and the events
  SessionRead out_;
};

}  // namespace

fs::path results_folder(const fs::path& folder, const ReadSessionOptions& options) {
  return options.results.empty() ? folder / kResultsFolder : options.results;
}

SessionRead read_session(const fs::path& folder, const ReadSessionOptions& options,
                         const SessionEvents& events) {
  return Run(folder, options, events).run();
}

}  // namespace nocktrail::session
