#include "replays.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <boost/crc.hpp>
#include <span>
#include <system_error>
#include <utility>

#include "nocktrail/error.hpp"
#include "nocktrail/report/json.hpp"
#include "nocktrail/report/own_folder.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/session/facts_file.hpp"
#include "nocktrail/session/session.hpp"
#include "nocktrail/version.hpp"
#include "refused.hpp"
#include "standing.hpp"
#include "view.hpp"

namespace nocktrail::serve {
namespace {

namespace fs = std::filesystem;

constexpr const char* kFolder = "replays";
constexpr std::size_t kShortSha = 16;
// Half a megabyte to one each: what is asked for again soon, not all there ever was.
constexpr std::size_t kMostKept = 60;

std::string checksum(const std::string& text) {
  boost::crc_32_type crc;
  crc.process_bytes(text.data(), text.size());
  return fmt::format("{:08x}", crc.checksum());
}

// By the shots, and the hand-written files as they are now: what they forbid must not wait for a
// judgement.
std::vector<std::string> stops_of(const fs::path& folder, const Snapshot& snapshot,
                                  const std::string& setup) {
  for (const auto& [name, stops] : standing(folder, snapshot).stops) {
    if (rules::printable(name) == setup) {
      return stops;
    }
  }
  return {};
}

}  // namespace

Replays::Replays(fs::path folder, std::string results, const Board& board)
    : folder_(std::move(folder)), results_(std::move(results)), board_(board) {}

Replays::Wanted Replays::wanted(const Snapshot& snapshot, const Target& target,
                                const std::string& prefix) const {
  const std::string setup = target.value(prefix + "setup");
  const tune::ClipRecord* clip = find_clip(snapshot, setup, target.value(prefix + "clip"));
  const long number = target.number(prefix + "shot", 1, 1000);
  if (clip == nullptr || clip->away || clip->sha256.size() < kShortSha) {
    throw Refused(404, "there is no such clip in the session now");
  }
  const auto shot = static_cast<std::size_t>(number - 1);
  if (const std::string why = picture::why_no_replay(clip->reading, shot); !why.empty()) {
    throw Refused(400, "there is no replay of it: " + why);
  }
  Wanted all;
  all.shot = {clip->reading, shot, stops_of(folder_, snapshot, setup)};
  all.name = fmt::format("{}-{}", clip->sha256.substr(0, kShortSha), number);
  all.from =
      fmt::format("{}\n{}\n{}\n{}\n{}", clip->file, clip->read_at_utc, kVersion,
                  fmt::join(all.shot.stops, "\n"), report::json_text(std::span(&clip->reading, 1)));
  return all;
}

Answer Replays::film(const Target& target) {
  const Snapshot snapshot = board_.snapshot();
  std::vector<Wanted> all;
  all.push_back(wanted(snapshot, target, ""));
  if (!target.value("over_clip").empty()) {
    all.push_back(wanted(snapshot, target, "over_"));
  }
  std::string name = all.front().name;
  std::string from = all.front().from;
  if (all.size() == 2) {
    name += "-over-" + all.back().name;
    from += "\n" + all.back().from;
  }
  name += fmt::format("-{}.mp4", checksum(from));

  const std::lock_guard<std::mutex> guard(making_);
  if (std::optional<std::string> before = kept(name)) {
    return {200, "video/mp4", std::move(*before)};
  }
  std::vector<picture::ReplayShot> shots;
  shots.reserve(all.size());
  for (Wanted& one : all) {
    shots.push_back(std::move(one.shot));
  }
  try {
    std::optional<std::string> film =
        picture::draw_replay(shots, {}, [this](double /*done*/) { return !stop_.load(); });
    if (!film) {
      throw Refused(503, "the program is being stopped");
    }
    keep(name, *film);
    return {200, "video/mp4", std::move(*film)};
  } catch (const UnreadableClip&) {
    throw Refused(404, "the clip cannot be read any more");
  } catch (const BadInput& problem) {
    throw Refused(400, problem.what());
  }
}

std::optional<std::string> Replays::kept(const std::string& name) const {
  const fs::path where = results_.empty() ? folder_ / session::kResultsFolder : fs::path(results_);
  std::error_code error;
  if (!fs::is_directory(where / kFolder, error)) {
    return std::nullopt;
  }
  try {
    return report::OwnFolder::open(where, !results_.empty()).inner(kFolder).content(name);
  } catch (const BadInput&) {
    return std::nullopt;  // what cannot be opened keeps nothing
  }
}

// Those of the same shots drawn from what no longer holds go, and the least of too many.
void Replays::keep(const std::string& name, const std::string& film) const {
  const fs::path where = results_.empty() ? folder_ / session::kResultsFolder : fs::path(results_);
  try {
    const report::OwnFolder folder =
        report::OwnFolder::open(where, !results_.empty()).inner(kFolder);
    const std::string same = name.substr(0, name.rfind('-') + 1);
    std::vector<std::string> others;
    for (const std::string& one : folder.names()) {
      if (!one.ends_with(".mp4") || one == name) {
        continue;
      }
      if (one.substr(0, one.rfind('-') + 1) == same) {
        folder.remove(one);
      } else {
        others.push_back(one);
      }
    }
    for (std::size_t k = 0; others.size() - k >= kMostKept; ++k) {
      folder.remove(others[k]);
    }
    folder.write_whole(name, film);
  } catch (const BadInput&) {
    // No room, or no right: it is shown all the same, and made again when it is asked for again.
  }
}

}  // namespace nocktrail::serve
