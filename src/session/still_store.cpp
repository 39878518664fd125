#include "still_store.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <boost/crc.hpp>
#include <cctype>
#include <nlohmann/json.hpp>
#include <regex>

#include "nocktrail/media/image_file.hpp"
#include "nocktrail/session/safe_name.hpp"

namespace nocktrail::session {
namespace {

namespace fs = std::filesystem;
using Json = nlohmann::json;

constexpr const char* kIndex = "stills.json";
constexpr const char* kSchema = "nocktrail.session-stills/1";
constexpr std::size_t kShortSha = 16;  // enough to tell any set of clips apart
constexpr std::size_t kLongestStem = 150;

std::string checksum(const std::string& text) {
  boost::crc_32_type crc;
  crc.process_bytes(text.data(), text.size());
  return fmt::format("{:08x}", crc.checksum());
}

std::string lower(std::string words) {
  std::transform(words.begin(), words.end(), words.begin(),
                 [](unsigned char c) { return static_cast<char>(std::tolower(c)); });
  return words;
}

std::string file_of(const std::string& id) {
  return id + ".png";
}

// "SHA-KEY.png", "SHA-KEY-shot2.png": not yet named, or from before stills had names.
bool is_named_by_id(const std::string& name) {
  static const std::regex form("[0-9a-f]{16}-[0-9a-f]{8}(-shot[0-9]+)?\\.png");
  return std::regex_match(name, form);
}

std::string text_at(const Json& entry, const char* key) {
  const auto found = entry.is_object() ? entry.find(key) : entry.end();
  return found != entry.end() && found->is_string() ? found->get<std::string>() : std::string();
}

// Of a folder that may come from somebody else: a name that leads out of it is none.
bool is_plain_name(const std::string& name) {
  return name.ends_with(".png") && name.find('/') == std::string::npos && !name.starts_with('.');
}

}  // namespace

StillStore::StillStore(const report::OwnFolder& results)
    : results_(results), folder_(results.inner("stills")) {}

void StillStore::load() {
  const std::optional<std::string> text = results_.content(kIndex);
  const Json j = Json::parse(text.value_or("null"), nullptr, false);
  if (text_at(j, "schema") != kSchema || !j.contains("stills") || !j["stills"].is_object()) {
    const std::vector<std::string> names = results_.names();
    if (std::find(names.begin(), names.end(), kIndex) != names.end()) {
      results_.set_aside(kIndex, "is not what nocktrail keeps there");
    }
    return;
  }
  for (const auto& [name, entry] : j["stills"].items()) {
    if (is_plain_name(name)) {
      known_[name] = {text_at(entry, "id"), text_at(entry, "clip"), text_at(entry, "stamp")};
    }
  }
}

std::string StillStore::id_of(const std::string& sha256, const std::string& judged_by,
                              std::size_t shot) {
  return fmt::format("{}-{}{}", sha256.substr(0, kShortSha), checksum(judged_by),
                     shot == 0 ? std::string() : fmt::format("-shot{}", shot + 1));
}

std::string StillStore::name_of(const std::string& stem, std::size_t shot) {
  return fmt::format("{}{}.png", stem,
                     shot == 0 ? std::string() : fmt::format("-shot{}", shot + 1));
}

std::string StillStore::stem_for(const std::string& setup, const fs::path& clip) {
  const std::string name = clip.stem().string();
  std::string stem =
      safe_name(setup == "." ? name : fmt::format("{}-{}", setup, name), kLongestStem);
  static const std::regex like_a_shot(".*-shot[0-9]+");
  static const std::regex like_an_id("[0-9a-f]{16}-[0-9a-f]{8}");
  if (stem.empty()) {
    stem = "clip";
  } else if (std::regex_match(stem, like_a_shot) || std::regex_match(stem, like_an_id)) {
    stem += "-clip";  // else it might be taken for another clip's second shot, or for an id
  }
  std::string candidate = stem;
  for (int n = 2; given_.contains(lower(candidate)) || !is_free(candidate, clip); ++n) {
    candidate = fmt::format("{}-{}", stem, n);
  }
  given_.insert(lower(candidate));
  return candidate;
}

// Size and time of writing, which renaming leaves; empty when there is no regular file.
std::string StillStore::stamp_of(const std::string& name) const {
  return folder_.stamp(name).value_or("");
}

bool StillStore::unchanged(const std::string& name) const {
  const auto known = known_.find(name);
  return known != known_.end() && !known->second.stamp.empty() &&
         known->second.stamp == stamp_of(name);
}

bool StillStore::is_ours(const std::string& name) const {
  if (unchanged(name) || is_named_by_id(name)) {
    return true;
  }
  const std::optional<std::string> bytes = folder_.content(name);
  return bytes && media::png_parts(*bytes).marked;
}

// Whether no other's file, and no still of another clip that is still there, has such a name.
bool StillStore::is_free(const std::string& stem, const fs::path& clip) const {
  const std::string begins = lower(stem);
  for (const std::string& name : folder_.names()) {
    const std::string lowered = lower(name);
    if (!lowered.starts_with(begins)) {
      continue;
    }
    const std::string rest = lowered.substr(begins.size());
    static const std::regex of_a_shot("(-shot[0-9]+)?\\.png");
    if (!std::regex_match(rest, of_a_shot) || folder_.is_link(name)) {
      continue;  // a link in the place of a file is replaced
    }
    if (!is_ours(name)) {
      return false;
    }
    const auto known = known_.find(name);
    std::error_code error;
    if (known != known_.end() && known->second.clip != clip.string() &&
        fs::exists(known->second.clip, error)) {
      return false;
    }
  }
  return true;
}

// Its name in the folder; empty when there is none.
std::string StillStore::lies_at(const std::string& id) const {
  if (folder_.has(file_of(id))) {
    return file_of(id);
  }
  const auto found = std::find_if(known_.begin(), known_.end(), [&](const auto& one) {
    return one.second.id == id && unchanged(one.first);
  });
  return found == known_.end() ? std::string() : found->first;
}

std::optional<fs::path> StillStore::find(const std::string& id) const {
  const std::string name = lies_at(id);
  return name.empty() ? std::nullopt : std::optional<fs::path>(path_of(name));
}

void StillStore::keep(const std::string& id, const std::string& png) const {
  folder_.write_whole(file_of(id), png);
}

void StillStore::name_all(const std::vector<Named>& stills) {
  // What has to move makes room first, under its id: two clips may have changed names.
  for (const Named& still : stills) {
    const std::string at = lies_at(still.id);
    if (!at.empty() && at != still.name && at != file_of(still.id)) {
      folder_.rename(at, file_of(still.id));
      known_.erase(at);
    }
  }
  drop_others(stills);
  for (const Named& still : stills) {
    if (folder_.has(file_of(still.id))) {
      folder_.rename(file_of(still.id), still.name);
    }
    known_[still.name] = {still.id, still.clip.string(), stamp_of(still.name)};
  }
  write();
}

// Drawn otherwise, of the same contents, or named after the same clips.
void StillStore::drop_others(const std::vector<Named>& stills) {
  std::set<std::string> contents;
  std::set<std::string> wanted;
  for (const Named& still : stills) {
    contents.insert(still.id.substr(0, kShortSha));
    wanted.insert(still.id);
  }
  for (const std::string& name : folder_.names()) {
    if (is_named_by_id(name) && contents.contains(name.substr(0, kShortSha)) &&
        !wanted.contains(name.substr(0, name.size() - file_of("").size()))) {
      folder_.remove(name);
    }
  }
  for (auto one = known_.begin(); one != known_.end();) {
    const Known& known = one->second;
    const bool other =
        contents.contains(known.id.substr(0, kShortSha)) && !wanted.contains(known.id);
    if (other && unchanged(one->first)) {
      folder_.remove(one->first);
    }
    one = other || stamp_of(one->first).empty() ? known_.erase(one) : std::next(one);
  }
}

void StillStore::write() const {
  Json stills = Json::object();
  for (const auto& [name, known] : known_) {
    stills[name] = {{"id", known.id}, {"clip", known.clip}, {"stamp", known.stamp}};
  }
  const std::string text = Json({{"schema", kSchema}, {"stills", stills}})
                               .dump(1, ' ', false, Json::error_handler_t::replace) +
                           "\n";
  if (results_.content(kIndex) != text) {
    results_.write_whole(kIndex, text);
  }
}

}  // namespace nocktrail::session
