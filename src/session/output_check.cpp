#include "nocktrail/session/output_check.hpp"

#include <fmt/format.h>
#include <sys/stat.h>

#include <algorithm>
#include <array>
#include <fstream>
#include <iterator>
#include <nlohmann/json.hpp>
#include <optional>
#include <system_error>

#include "nocktrail/error.hpp"
#include "nocktrail/media/film.hpp"
#include "nocktrail/media/image_file.hpp"
#include "nocktrail/report/atomic_file.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/session/facts_file.hpp"
#include "nocktrail/session/session.hpp"

namespace nocktrail::session {
namespace {

namespace fs = std::filesystem;
using Json = nlohmann::ordered_json;

// Nothing that an option writes comes near it; what is larger is something else.
constexpr std::uintmax_t kMostBytes = std::uintmax_t{256} << 20U;
// Stills have always been of this width; for those from before they carried a mark.
constexpr int kStillWidth_px = 1440;

[[noreturn]] void refuse(std::string_view option, const fs::path& path, const std::string& why) {
  throw BadInput(fmt::format("{}: {}: {}", option, rules::printable(path.string()), why));
}

bool is_stream(const fs::path& path) {
  std::error_code error;
  const fs::file_status status = fs::status(path, error);
  return fs::is_character_file(status) || fs::is_fifo(status) || fs::is_socket(status);
}

// Empty when it cannot be read as an ordinary file.
std::optional<std::string> content_of(const fs::path& path) {
  std::error_code error;
  if (!fs::is_regular_file(path, error) || fs::file_size(path, error) > kMostBytes || error) {
    return std::nullopt;
  }
  std::ifstream file(path, std::ios::binary);
  std::string bytes{std::istreambuf_iterator<char>(file), {}};
  return file.is_open() && !file.bad() ? std::optional<std::string>(std::move(bytes))
                                       : std::nullopt;
}

std::string beginning_of(const fs::path& path) {
  std::array<char, 1024> bytes{};
  std::ifstream file(path, std::ios::binary);
  file.read(bytes.data(), bytes.size());
  return {bytes.data(), static_cast<std::size_t>(file.gcount())};
}

// By what the kinds begin with: ISO/IEC 14496-12 and QuickTime boxes, EBML (RFC 8794), RIFF with
// AVI, MPEG transport (ISO/IEC 13818-1, sync byte every 188 bytes, 192 with a time code) and
// program streams.
bool begins_like_video(const std::string& head) {
  const auto at = [&](std::size_t place, std::string_view bytes) {
    return std::string_view(head).substr(std::min(place, head.size())).starts_with(bytes);
  };
  const auto packets = [&](std::size_t first, std::size_t step) {
    return at(first, "G") && at(first + step, "G") && at(first + 2 * step, "G");
  };
  constexpr std::array<std::string_view, 4> kBoxes = {"ftyp", "moov", "mdat", "wide"};
  return std::any_of(kBoxes.begin(), kBoxes.end(), [&](auto box) { return at(4, box); }) ||
         at(0, "\x1A\x45\xDF\xA3") || (at(0, "RIFF") && at(8, "AVI ")) || packets(0, 188) ||
         packets(4, 192) || at(0, std::string_view("\0\0\1\xBA", 4));
}

bool is_hand_written_name(const fs::path& path) {
  return path.extension() == ".toml";  // session.toml, setup.toml, phones.toml, one for `effects`
}

bool same_file(const fs::path& a, const fs::path& b) {
  struct stat one {};
  struct stat other {};
  const bool there = ::stat(a.c_str(), &one) == 0;
  if (there && ::stat(b.c_str(), &other) == 0) {
    return one.st_dev == other.st_dev && one.st_ino == other.st_ino;
  }
  std::error_code error;
  return !there && fs::weakly_canonical(fs::absolute(a, error), error) ==
                       fs::weakly_canonical(fs::absolute(b, error), error);
}

bool has_schema(const Json& document, const std::string& schema) {
  if (document.is_array()) {
    return std::all_of(document.begin(), document.end(),
                       [&](const Json& one) { return one.is_object() && has_schema(one, schema); });
  }
  const auto found = document.is_object() ? document.find("schema") : document.end();
  return found != document.end() && found->is_string() &&
         found->get_ref<const std::string&>().starts_with(schema);
}

bool same_keys(const Json& a, const Json& b) {
  return a.is_object() && b.is_object() && a.size() == b.size() &&
         std::all_of(a.items().begin(), a.items().end(),
                     [&](const auto& item) { return b.contains(item.key()); });
}

std::optional<Json> parsed(const std::string& bytes) {
  Json document = Json::parse(bytes, nullptr, false);
  return document.is_discarded() ? std::nullopt : std::optional<Json>(std::move(document));
}

}  // namespace

Product json_of(const std::string& schema) {
  return {fmt::format("JSON of schema {}", schema.substr(0, schema.find('/'))),
          [schema](const std::string& bytes) {
            const std::optional<Json> document = parsed(bytes);
            return document && has_schema(*document, schema);
          }};
}

Product json_like(const Json& sample, const std::string& words) {
  return {words, [sample](const std::string& bytes) {
            const std::optional<Json> document = parsed(bytes);
            if (!document || !sample.is_array()) {
              return document && same_keys(*document, sample);
            }
            return document->is_array() &&
                   std::all_of(document->begin(), document->end(),
                               [&](const Json& one) { return same_keys(one, sample.front()); });
          }};
}

Product still_picture() {
  return {"a still of nocktrail", [](const std::string& bytes) {
            const media::PngParts parts = media::png_parts(bytes);
            return parts.marked || (parts.plain && parts.width_px == kStillWidth_px);
          }};
}

Product debug_picture() {
  return {"a picture of nocktrail", [](const std::string& bytes) {
            const media::PngParts parts = media::png_parts(bytes);
            return parts.marked || parts.plain;
          }};
}

Product plot() {
  return {"a plot of nocktrail", [](const std::string& bytes) {
            // Those from before there was a mark: by the title that they all have.
            return bytes.starts_with("<svg") &&
                   (bytes.find("<!-- nocktrail ") != std::string::npos ||
                    bytes.find("<title>Nock's lateral offset against shaft length") !=
                        std::string::npos);
          }};
}

Product page() {
  return {"a page of nocktrail", [](const std::string& bytes) {
            return bytes.find("<meta name=\"generator\" content=\"nocktrail ") != std::string::npos;
          }};
}

Product film() {
  return {"a replay of nocktrail",
          [](const std::string& bytes) { return media::is_own_film(bytes); }, true};
}

void OutputCheck::keep(const fs::path& path, const std::string& what) {
  kept_.push_back({path, what});
}

void OutputCheck::keep_logbook(const fs::path& path) {
  for (const char* ending : {"", "-wal", "-shm", "-journal"}) {
    keep(path.string() + ending, "the logbook");
  }
}

void OutputCheck::refuse_kept(std::string_view option, const fs::path& path) const {
  const auto found = std::find_if(kept_.begin(), kept_.end(),
                                  [&](const Kept& kept) { return same_file(kept.path, path); });
  if (found != kept_.end()) {
    refuse(option, path, fmt::format("is {}; nothing was done; give another name", found->what));
  }
  if (is_hand_written_name(path)) {
    refuse(option, path,
           "has the name of a hand-written file; nothing was done; give another name");
  }
}

void OutputCheck::refuse_clip(std::string_view option, const fs::path& path) const {
  std::error_code error;
  if (is_video_name(path) ||
      (fs::is_regular_file(path, error) && begins_like_video(beginning_of(path)))) {
    refuse(option, path, "is a clip; nothing was done; give another name");
  }
}

void OutputCheck::check(std::string_view option, const fs::path& path,
                        const Product& product) const {
  if (is_stream(path)) {
    return;
  }
  refuse_kept(option, path);
  if (!product.is_video) {
    refuse_clip(option, path);
  }
  try {
    report::check_writable(path);
  } catch (const BadInput& problem) {
    throw BadInput(fmt::format("{}: {}", option, problem.what()));
  }
  std::error_code error;
  if (!fs::exists(path, error) || fs::file_size(path, error) == 0) {
    return;
  }
  const std::optional<std::string> bytes = content_of(path);
  if (!bytes || !product.is_older(*bytes)) {
    refuse(option, path,
           fmt::format("is there already and is not {}; nothing was done; give another name, or "
                       "move that file away",
                       product.words));
  }
}

void OutputCheck::check_logbook(std::string_view option, const fs::path& path) const {
  refuse_kept(option, path);
  refuse_clip(option, path);
  std::error_code error;
  if (is_stream(path)) {
    refuse(option, path, "is not an ordinary file; name a file for the logbook");
  }
  if (fs::is_regular_file(path, error) && fs::file_size(path, error) > 0 &&
      !beginning_of(path).starts_with(std::string_view("SQLite format 3\0", 16))) {
    refuse(option, path,
           "is there already and is no logbook; nothing was done; name another file for the "
           "logbook");
  }
}

void OutputCheck::check_results(std::string_view option, const fs::path& folder) const {
  std::error_code error;
  if (!fs::is_directory(folder, error)) {
    return;  // to be made, or in the way, which the reading will say
  }
  // Where all of these are, the folder is one of ours, whatever became of a file in it.
  if (fs::exists(folder / "lock", error) && fs::is_directory(folder / "readings", error) &&
      fs::is_directory(folder / "stills", error)) {
    return;
  }
  check(option, folder / "session.json", json_of("nocktrail.session/"));
  check(option, folder / "files.json", json_of("nocktrail.session-files/"));
  check(option, folder / "stills.json", json_of("nocktrail.session-stills/"));
  check(option, folder / "report.html", page());
  check(option, folder / "build-sheet.html", page());
}

}  // namespace nocktrail::session
