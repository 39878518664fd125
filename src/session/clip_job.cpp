#include "clip_job.hpp"

#include <fmt/chrono.h>
#include <fmt/format.h>

#include <algorithm>
#include <vector>

#include "file_stamp.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/media/clip.hpp"
#include "nocktrail/media/image_file.hpp"
#include "nocktrail/picture/frames.hpp"
#include "nocktrail/picture/still.hpp"
#include "nocktrail/pipeline/read_marked.hpp"
#include "nocktrail/report/marks.hpp"
#include "nocktrail/rules/rules.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/tune/facts_words.hpp"
#include "nocktrail/tune/gate.hpp"
#include "nocktrail/version.hpp"

namespace nocktrail::session {

std::string Job::name() const {
  const std::string file = clip->path.filename().string();
  return rules::printable(setup->name == "." ? file : setup->name + "/" + file);
}

Hand hand_of(const Job& job) {
  return job.clip->hand != Hand::unknown ? job.clip->hand : job.setup->facts.hand;
}

std::optional<double> cant_of(const Job& job) {
  return job.clip->cant_deg ? job.clip->cant_deg : job.setup->facts.cant_deg;
}

ReadWith read_with(const Job& job) {
  ReadWith with;
  with.arrow_length_m = job.setup->facts.arrow.arrow_length_m;
  with.focal_35mm = job.clip->focal_35mm;
  with.capture_fps = job.clip->capture_fps;
  with.target_distance_m = job.setup->facts.target_distance_m;
  with.program_version = kVersion;
  if (job.marks) {
    Marks measuring = *job.marks;
    measuring.counts = false;  // which has no part in it
    with.marks = report::marks_text(measuring);
  }
  return with;
}

ReadClipOptions read_options(const Job& job, const ReadWith& with, double dead_band_deg) {
  ReadClipOptions options;
  options.hand = hand_of(job);
  options.cant_deg = cant_of(job);
  options.arrow_length_m = with.arrow_length_m;
  options.focal_35mm = with.focal_35mm;
  options.capture_fps = with.capture_fps;
  options.target_distance_m = with.target_distance_m;
  options.dead_band_deg = dead_band_deg;
  return options;
}

std::optional<StoredReading> stored_reading(Job& job, const KeptMarks& kept, const Results& results,
                                            ReadWith& with,
                                            const std::function<void(const std::string&)>& say) {
  KeptMarks::Found found = kept.of(job.sha256);
  if (!found.fault.empty()) {
    say(found.fault);
  }
  job.marks = std::move(found.marks);
  with = read_with(job);
  std::optional<StoredReading> stored = made_before(results, job, with);
  if (stored || !job.marks) {
    return stored;
  }
  try {
    check_marks_of(job.clip->path, job.sha256, *job.marks);
  } catch (const UnreadableClip&) {
    // For the reading to say.
  } catch (const BadInput& problem) {
    say(fmt::format("{}: {}; until then it is read without", job.name(), problem.what()));
    job.marks.reset();
    with = read_with(job);
    return made_before(results, job, with);
  }
  return std::nullopt;
}

Reading make_reading(const Job& job, const ReadWith& with, const ReadSessionOptions& options,
                     const Progress& progress) {
  const ReadClipOptions how = read_options(job, with, options.dead_band_deg);
  if (job.marks) {
    return options.read_marked ? options.read_marked(job.clip->path, *job.marks, how, progress)
                               : read_marked(job.clip->path, *job.marks, how, progress);
  }
  return options.read ? options.read(job.clip->path, how, progress)
                      : read_clip(job.clip->path, how, progress);
}

StoredReading begun_reading(const Job& job, const ReadWith& with) {
  StoredReading stored;
  stored.with = with;
  stored.read_at_utc = utc(std::time(nullptr));
  if (const std::optional<std::time_t> filmed = media::filmed_at(job.clip->path)) {
    stored.filmed_at_utc = utc(*filmed);
  }
  return stored;
}

void take_stored(Job& job, StoredReading stored) {
  job.record.reading = std::move(stored.reading);
  job.record.reading.clip.path = job.clip->path.string();
  job.record.program_version = stored.with.program_version;
  job.record.read_at_utc = stored.read_at_utc;
  job.record.filmed_at_utc = stored.filmed_at_utc;
}

void judge(Job& job, double dead_band_deg) {
  const rules::JudgeOptions judge{
      .hand = hand_of(job),
      .cant_deg = cant_of(job),
      .fletched = job.setup->facts.arrow.fletching == tune::Fletching::fletched,
      .bare = job.setup->facts.arrow.fletching == tune::Fletching::bare,
      .dead_band_deg = dead_band_deg};
  for (Shot& shot : job.record.reading.shots) {
    rules::judge_shot(shot, judge);
  }
}

std::string judged_by_words(const Job& job, const ReadWith& with, double dead_band_deg) {
  const std::optional<double> cant = cant_of(job);
  std::string words =
      fmt::format("{} {} {} {} {} {} {} {} {} {}", static_cast<int>(hand_of(job)),
                  cant ? fmt::format("{:.7g}", *cant) : "-", dead_band_deg,
                  with.arrow_length_m.value_or(0.0), with.focal_35mm.value_or(0.0),
                  with.capture_fps.value_or(0.0), with.target_distance_m.value_or(0.0),
                  with.program_version, fmt::join(tune::particulars(job.setup->facts), "\n"),
                  fmt::join(tune::stop_texts(job.setup->facts), "\n"));
  return with.marks.empty() ? words : words + "\n" + with.marks;
}

void tell_particulars(Job& job) {
  tune::ClipRecord& record = job.record;
  record.file = job.clip->path.filename().string();
  record.away = job.clip->away;
  record.sha256 = job.sha256;
  record.dropped = job.clip->dropped;
  const std::vector<Shot>& shots = record.reading.shots;
  const bool by_hand = std::any_of(shots.begin(), shots.end(),
                                   [](const Shot& shot) { return shot.by == ReadBy::hand; });
  if (record.dropped.empty() && by_hand && !(job.marks && job.marks->counts)) {
    record.dropped = kMarksDoNotCount;
  }
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
}

Reading tripped() {
  Reading reading;
  reading.status = ClipStatus::error;
  reading.reason = "The program itself failed on this clip; please report it.";
  return reading;
}

std::string utc(std::time_t t) {
  std::tm parts{};
  if (::gmtime_r(&t, &parts) == nullptr || parts.tm_year < -1900 || parts.tm_year > 8099) {
    return {};
  }
  return fmt::format("{:%Y-%m-%dT%H:%M:%SZ}", parts);
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

}  // namespace nocktrail::session
