// Readings made elsewhere that lie beside the clips, or in the place of one.
#include <fmt/format.h>

#include <cmath>
#include <system_error>

#include "clip_job.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/rules/before_change.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/units/hand_written.hpp"

namespace nocktrail::session {
namespace {

// Throws BadInput unless there is one, whole.
StoredReading read_beside(const PlannedClip& clip) {
  const std::filesystem::path path = reading_beside(clip.path);
  const std::string source = rules::printable(path.string());
  const std::optional<std::string> text = units::read_hand_written(path, source);
  if (!text) {
    throw BadInput(fmt::format("{}: is not there", source));
  }
  StoredReading stored = stored_from_json(*text, source);
  const std::string& sha256 = stored.reading.clip.sha256;
  constexpr std::size_t kSha256Digits = 64;
  if (sha256.size() != kSha256Digits ||
      sha256.find_first_not_of("0123456789abcdef") != std::string::npos) {
    throw BadInput(fmt::format("{}: does not say of which clip it is", source));
  }
  return stored;
}

// Other facts make another number of it, but nobody has shown that the arrow may be shot. What does
// not count forbids nothing.
std::string forbade(const Reading& reading, const Job& job) {
  const bool fletched = job.setup->facts.arrow.fletching == tune::Fletching::fletched;
  int number = 0;
  for (const Shot& shot : reading.shots) {
    const double right = shot.nock_right_deg ? shot.nock_right_deg->value : 0.0;
    const double high = shot.nock_high_deg ? shot.nock_high_deg->value : 0.0;
    const bool by_hand = shot.by == ReadBy::hand && !(job.marks && job.marks->counts);
    if (job.clip->dropped_shots.count(++number) > 0 || by_hand) {
      continue;
    }
    if (rules::stands_across(shot)) {
      return "with the facts as they were it stood across its flight";
    }
    if (shot.status == ShotStatus::measured && rules::too_far(right, high, fletched)) {
      return fmt::format(
          "with the facts as they were it trailed {:.1f} deg; put those back, or the clip beside "
          "its reading",
          std::hypot(right, high));
    }
  }
  return {};
}

}  // namespace

StoredReading stand_in(Job& job, const KeptMarks& kept) {
  StoredReading stored = read_beside(*job.clip);
  job.marks = kept.of(stored.reading.clip.sha256).marks;  // for whether a reading by hand counts
  // There is no clip to read anew: whichever version made the reading, it is that or nothing.
  ReadWith wanted = read_with(job);
  wanted.program_version = stored.with.program_version;
  wanted.marks = stored.with.marks;
  if (!suits(stored.with, wanted)) {
    job.record.forbade = forbade(stored.reading, job);
    throw BadInput(
        "the clip is not here, and the reading that stands in for it was made with another arrow "
        "length, focal length, capture rate or distance; put the clip beside it, or the old facts "
        "back");
  }
  return stored;
}

std::optional<StoredReading> made_before(const Results& results, const Job& job,
                                         const ReadWith& with) {
  std::optional<StoredReading> stored = results.find(job.sha256, with);
  std::error_code error;
  if (!stored && std::filesystem::exists(reading_beside(job.clip->path), error)) {
    try {
      stored = read_beside(*job.clip);
      if (stored->reading.clip.sha256 != job.sha256 || !suits(stored->with, with)) {
        stored.reset();
      }
    } catch (const BadInput&) {
      // The clip is here and says it all.
    }
  }
  return stored;
}

}  // namespace nocktrail::session
