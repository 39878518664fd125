// What the tests of this room share: clips made by the ffmpeg tool, answers of the ffprobe tool,
// and pictures as numbers.
#pragma once

#include <fmt/format.h>

#include <cstdint>
#include <filesystem>
#include <opencv2/core.hpp>
#include <optional>
#include <string>
#include <vector>

#include "nocktrail/media/clip.hpp"

namespace nocktrail::media::testing {

// For a command line of the shell.
inline std::string quoted(const std::filesystem::path& path) {
  return fmt::format("'{}'", path.string());
}

// A folder that goes away with the object.
class Scratch {
 public:
  Scratch();
  ~Scratch();
  Scratch(const Scratch&) = delete;
  Scratch& operator=(const Scratch&) = delete;

  std::filesystem::path file(const std::string& name) const { return folder_ / name; }

  // Runs the ffmpeg tool with the arguments and the output file. nullopt, having said so, when the
  // tool is not installed; a failure of the installed tool fails the test.
  std::optional<std::filesystem::path> make(const std::string& name,
                                            const std::string& arguments) const;

 private:
  std::filesystem::path folder_;
};

// A clip of a real phone's container (test-clips/phone); fails the test when it is not there.
std::filesystem::path phone_clip(const std::string& name);

struct Probed {
  std::vector<std::int64_t> pts;
  double time_base_s = 0.0;
  int width = 0;
  int height = 0;
};

// The frame list of the ffprobe tool for one stream (its index in the file).
std::optional<Probed> ffprobe(const std::filesystem::path& path, int stream);

// All luma planes as the ffmpeg tool decodes and turns them (its own reading of the display
// matrix), as raw bytes of one frame after the other. `format` has 8-bit luma as its first plane;
// frame_bytes is the size of one frame in it.
std::vector<std::uint8_t> ffmpeg_raw(const Scratch& scratch, const std::filesystem::path& path,
                                     const std::string& format);

// Hash of the pixels.
std::uint64_t hash_of(const cv::Mat& picture);

struct Seen {
  std::vector<long> index;
  std::vector<double> t_s;
  std::vector<std::uint64_t> hash;  // of luma and chroma together
};

// Everything from frame `from` on, at most `limit` frames.
Seen read(Clip& clip, long from, const ReadOptions& options, long limit = 1L << 40);

std::vector<char> bytes_of(const std::filesystem::path& path);
void write_bytes(const std::filesystem::path& path, const std::vector<char>& bytes);
std::string output_of(const std::string& command);

// The message of the UnreadableClip that opening throws; empty when it opens.
std::string refusal_of(const std::filesystem::path& path, const OpenOptions& options = {});

}  // namespace nocktrail::media::testing
