#include "nocktrail/report/summary.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <filesystem>
#include <set>

#include "nocktrail/report/lines.hpp"
#include "nocktrail/rules/words.hpp"

namespace nocktrail::report {
namespace {

namespace fs = std::filesystem;

// "left 2.41 ± 0.18" of "nock left 2.41 ± 0.18 deg": the column says the rest.
std::string short_offset(std::string words) {
  const std::string before = "nock ";
  const std::string after = " deg";
  if (words.starts_with(before)) {
    words.erase(0, before.size());
  }
  if (words.ends_with(after)) {
    words.erase(words.size() - after.size());
  }
  return words;
}

const char* outcome_of(const Reading& reading) {
  switch (reading.status) {
    case ClipStatus::error:
      return "cannot be read";
    case ClipStatus::no_shot:
      return "no shot found";
    default:
      return "refused";
  }
}

// The file's name; with its folders where another clip has the same.
std::vector<std::string> names_of(const std::vector<Reading>& readings) {
  std::vector<std::string> files;
  files.reserve(readings.size());
  for (const Reading& reading : readings) {
    files.push_back(fs::path(reading.clip.path).filename().string());
  }
  std::vector<std::string> names;
  for (std::size_t i = 0; i < files.size(); ++i) {
    const bool alone = std::count(files.begin(), files.end(), files[i]) == 1;
    names.push_back(rules::printable(alone ? files[i] : readings[i].clip.path));
  }
  return names;
}

bool measured(const Shot& shot) {
  return shot.status == ShotStatus::measured;
}

// From the side nothing is known sideways, and up and down is against plumb.
bool measured_from_behind(const Shot& shot) {
  return measured(shot) && shot.view == View::behind;
}

}  // namespace

std::string summary(const std::vector<Reading>& readings, const SummaryOptions& options) {
  std::size_t shots_measured = 0;
  std::size_t clips_measured = 0;
  std::size_t from_behind = 0;
  bool to_the_bow = true;
  for (const Reading& reading : readings) {
    const auto of_clip = std::count_if(reading.shots.begin(), reading.shots.end(), measured);
    shots_measured += static_cast<std::size_t>(of_clip);
    clips_measured += of_clip > 0 ? 1 : 0;
    for (const Shot& shot : reading.shots) {
      from_behind += measured_from_behind(shot) ? 1 : 0;
      to_the_bow = to_the_bow && (!measured_from_behind(shot) || shot.in_bow);
    }
  }
  std::string out =
      line(fmt::format("Summary: {} shot{} measured, in {} of {} clips{}", shots_measured,
                       shots_measured == 1 ? "" : "s", clips_measured, readings.size(),
                       from_behind == 0 ? ""
                       : to_the_bow     ? "; offsets to the bow"
                                        : "; offsets as seen from behind, upright"),
           options.width);
  std::set<std::string> said;
  for (const std::string& stop : options.stops) {
    if (said.insert(stop).second) {
      out += line(fmt::format("Next step: {}", rules::printable(stop)), options.width, 2);
    }
  }
  TextTable table({"Clip", "Sideways, deg", "Up and down, deg", "Spine", "Nocking point"});
  const std::vector<std::string> names = names_of(readings);
  for (std::size_t i = 0; i < readings.size(); ++i) {
    const std::vector<Shot>& shots = readings[i].shots;
    if (shots.empty()) {
      table.add({names[i], outcome_of(readings[i]), "-", "-", "-"});
    }
    for (std::size_t s = 0; s < shots.size(); ++s) {
      const std::string name =
          shots.size() == 1 ? names[i] : fmt::format("{}, shot {}", names[i], s + 1);
      const Shot& shot = shots[s];
      const std::optional<Measured> right =
          to_the_bow && shot.in_bow ? shot.in_bow->nock_right_deg : shot.nock_right_deg;
      const std::optional<Measured> high =
          to_the_bow && shot.in_bow ? shot.in_bow->nock_high_deg : shot.nock_high_deg;
      if (measured(shot) && shot.view == View::side && high) {
        table.add({name, "from the side",
                   short_offset(rules::vertical_words(*shot.nock_high_deg)) + " to plumb", "-",
                   rules::word(shot.verdict.nocking_point)});
        continue;
      }
      if (!measured(shot) || !right || !high) {
        table.add({name, "refused", "-", "-", "-"});
        continue;
      }
      table.add({name, short_offset(rules::lateral_words(*right)),
                 short_offset(rules::vertical_words(*high)), rules::word(shot.verdict.spine),
                 rules::word(shot.verdict.nocking_point)});
    }
  }
  return out + table.text(options.width);
}

}  // namespace nocktrail::report
