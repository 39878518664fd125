#include "support.hpp"

#include <doctest/doctest.h>
#include <fmt/format.h>
#include <unistd.h>

#include <array>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <iterator>
#include <memory>
#include <random>
#include <sstream>

#include "nocktrail/error.hpp"

namespace nocktrail::media::testing {
namespace fs = std::filesystem;

namespace {

bool installed(const std::string& tool) {
  if (std::system(fmt::format("command -v {} > /dev/null 2>&1", tool).c_str()) == 0) {
    return true;
  }
  MESSAGE("skipped: the tool " << tool << " is not installed");
  return false;
}

}  // namespace

Scratch::Scratch() {
  std::string pattern = (fs::temp_directory_path() / "nocktrail-media-XXXXXX").string();
  REQUIRE(::mkdtemp(pattern.data()) != nullptr);
  folder_ = pattern;
}

Scratch::~Scratch() {
  std::error_code ignored;
  fs::remove_all(folder_, ignored);
}

std::optional<fs::path> Scratch::make(const std::string& name, const std::string& arguments) const {
  if (!installed("ffmpeg")) {
    return std::nullopt;
  }
  const fs::path made = file(name);
  const std::string command =
      fmt::format("ffmpeg -v error -nostdin -y {} '{}' > /dev/null 2>&1", arguments, made.string());
  INFO(command);
  REQUIRE(std::system(command.c_str()) == 0);
  return made;
}

fs::path phone_clip(const std::string& name) {
  fs::path path = fs::path(NOCKTRAIL_TEST_CLIPS) / "phone" / name;
  REQUIRE(fs::exists(path));
  return path;
}

std::string output_of(const std::string& command) {
  const std::unique_ptr<FILE, int (*)(FILE*)> pipe(::popen(command.c_str(), "r"), &::pclose);
  REQUIRE(pipe != nullptr);
  std::string text;
  std::array<char, 4096> block{};
  while (const std::size_t got = std::fread(block.data(), 1, block.size(), pipe.get())) {
    text.append(block.data(), got);
  }
  return text;
}

std::optional<Probed> ffprobe(const fs::path& path, int stream) {
  if (!installed("ffprobe")) {
    return std::nullopt;
  }
  const std::string text = output_of(fmt::format(
      "ffprobe -v error -select_streams {} -show_entries frame=pts:stream=time_base,width,height "
      "-of default=noprint_wrappers=1 '{}' 2> /dev/null",
      stream, path.string()));
  Probed probed;
  std::istringstream lines(text);
  for (std::string line; std::getline(lines, line);) {
    const auto value = [&](std::string_view key) -> std::optional<std::string> {
      return line.starts_with(key) ? std::optional(line.substr(key.size())) : std::nullopt;
    };
    if (const auto pts = value("pts=")) {
      probed.pts.push_back(std::stoll(*pts));
    } else if (const auto base = value("time_base=")) {
      const std::size_t slash = base->find('/');
      probed.time_base_s = std::stod(base->substr(0, slash)) / std::stod(base->substr(slash + 1));
    } else if (const auto width = value("width=")) {
      probed.width = std::stoi(*width);
    } else if (const auto height = value("height=")) {
      probed.height = std::stoi(*height);
    }
  }
  return probed;
}

std::vector<std::uint8_t> ffmpeg_raw(const Scratch& scratch, const fs::path& path,
                                     const std::string& format) {
  const auto raw = scratch.make(
      "raw.yuv", fmt::format("-i '{}' -map 0:v:0 -vsync passthrough -pix_fmt {} -f rawvideo",
                             path.string(), format));
  if (!raw) {
    return {};
  }
  const std::vector<char> bytes = bytes_of(*raw);
  return {bytes.begin(), bytes.end()};
}

std::uint64_t hash_of(const cv::Mat& picture) {
  std::uint64_t hash = 14695981039346656037U;  // FNV-1a
  for (int row = 0; row < picture.rows; ++row) {
    const std::uint8_t* pixel = picture.ptr<std::uint8_t>(row);
    for (int column = 0; column < picture.cols; ++column) {
      hash = (hash ^ pixel[column]) * 1099511628211U;
    }
  }
  return hash;
}

Seen read(Clip& clip, long from, const ReadOptions& options, long limit) {
  Seen seen;
  clip.seek(from, options);
  Frame frame;
  for (long i = 0; i < limit && clip.next(frame); ++i) {
    seen.index.push_back(frame.index);
    seen.t_s.push_back(frame.t_s);
    seen.hash.push_back(hash_of(frame.luma) ^ (3 * hash_of(frame.chroma_u)) ^
                        (5 * hash_of(frame.chroma_v)));
  }
  return seen;
}

std::vector<char> bytes_of(const fs::path& path) {
  std::ifstream file(path, std::ios::binary);
  return {std::istreambuf_iterator<char>(file), {}};
}

void write_bytes(const fs::path& path, const std::vector<char>& bytes) {
  std::ofstream file(path, std::ios::binary);
  file.write(bytes.data(), static_cast<std::streamsize>(bytes.size()));
  REQUIRE(file.good());
}

std::string refusal_of(const fs::path& path, const OpenOptions& options) {
  try {
    Clip::open(path, options);
  } catch (const UnreadableClip& refused) {
    return refused.what();
  }
  return {};
}

}  // namespace nocktrail::media::testing
