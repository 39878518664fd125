// Readings made elsewhere, taken into a session's folder.
#include <fmt/format.h>

#include <system_error>

#include "clip_job.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/session/session.hpp"
#include "results.hpp"

namespace nocktrail::session {
namespace {

namespace fs = std::filesystem;

fs::path plain(const fs::path& path) {
  std::error_code error;
  const fs::path whole = fs::weakly_canonical(path, error);
  return error ? path : whole;
}

}  // namespace

IntoSession::IntoSession(const fs::path& folder, const ReadSessionOptions& options)
    : options_(options), plan_(load(folder, options.archer)) {
  if (!plan_.faults.empty()) {
    throw BadInput(plan_.faults.front());
  }
  for (const PlannedSetup& setup : plan_.setups) {
    for (const PlannedClip& clip : setup.clips) {
      if (!clip.away) {
        places_[plain(clip.path)] = {&setup, &clip};
      }
    }
  }
  marks_ = std::make_unique<KeptMarks>(marks_folder(plan_.folder, options));
  results_ =
      std::make_unique<Results>(results_folder(plan_.folder, options), !options.results.empty(),
                                [](const std::string& /*line*/) {});
}

IntoSession::~IntoSession() = default;

Job IntoSession::job_of(const fs::path& clip) {
  const auto place = places_.find(plain(clip));
  if (place == places_.end()) {
    throw UnreadableClip(
        fmt::format("{}: is no clip of the session in {}; copy it into the folder first",
                    rules::printable(clip.string()), rules::printable(plan_.folder.string())));
  }
  Job job;
  job.setup = place->second.setup;
  job.clip = place->second.clip;
  return job;
}

tune::ClipRecord IntoSession::read(const fs::path& clip, const Progress& progress) {
  Job job = job_of(clip);
  job.sha256 = results_->sha256_of(job.clip->path);
  ReadWith with;
  // Marks that do not fit are for the session to say.
  std::optional<StoredReading> stored =
      stored_reading(job, *marks_, *results_, with, [](const std::string& /*line*/) {});
  if (!stored) {
    stored = begun_reading(job, with);
    stored->reading = make_reading(job, with, options_, progress);
    if (results_->sha256_of(job.clip->path) != job.sha256) {
      throw UnreadableClip(fmt::format("{}: changed while it was being read; read it again",
                                       rules::printable(clip.string())));
    }
    stored->reading.clip.sha256 = job.sha256;
    results_->keep(job.sha256, *stored);
  }
  return finished(job, std::move(*stored));
}

std::optional<tune::ClipRecord> IntoSession::kept(const fs::path& clip) {
  if (!places_.contains(plain(clip))) {
    return std::nullopt;
  }
  Job job = job_of(clip);
  job.sha256 = results_->sha256_of(job.clip->path);
  ReadWith with;
  std::optional<StoredReading> stored =
      stored_reading(job, *marks_, *results_, with, [](const std::string& /*line*/) {});
  if (!stored) {
    return std::nullopt;
  }
  return finished(job, std::move(*stored));
}

tune::ClipRecord IntoSession::finished(Job& job, StoredReading stored) const {
  take_stored(job, std::move(stored));
  judge(job, options_.dead_band_deg);
  tell_particulars(job);
  return std::move(job.record);
}

tune::ClipRecord IntoSession::try_marks(const fs::path& clip, const Marks& marks,
                                        const Progress& progress) {
  Job job = job_of(clip);
  job.marks = marks;
  const ReadWith with = read_with(job);
  StoredReading made = begun_reading(job, with);
  made.reading = make_reading(job, with, options_, progress);
  return finished(job, std::move(made));
}

std::optional<tune::ClipRecord> kept_reading(const fs::path& clip,
                                             const ReadSessionOptions& options) {
  const fs::path inside = plain(clip).parent_path();
  for (const fs::path& folder : {inside.parent_path(), inside}) {
    std::error_code error;
    const fs::path kept = options.results.empty() ? folder / kResultsFolder : options.results;
    if (!fs::is_directory(kept / "readings", error)) {
      continue;  // never read
    }
    try {
      IntoSession into(folder, options);
      if (std::optional<tune::ClipRecord> record = into.kept(clip)) {
        return record;
      }
    } catch (const BadInput&) {
      // It is read anew, or that says what is wrong.
    }
  }
  return std::nullopt;
}

}  // namespace nocktrail::session
