#include <fmt/format.h>

extern "C" {
#include <libavutil/sha.h>
}

#include <array>
#include <cstdint>
#include <fstream>
#include <vector>

#include "container.hpp"
#include "nocktrail/error.hpp"
#include "nocktrail/media/clip.hpp"

namespace nocktrail::media {

std::string sha256_of_file(const std::filesystem::path& path) {
  require_readable_file(path);
  const std::unique_ptr<AVSHA, void (*)(void*)> sha(av_sha_alloc(), &av_free);
  if (sha == nullptr) {
    throw std::bad_alloc();
  }
  av_sha_init(sha.get(), 256);
  std::ifstream file(path, std::ios::binary);
  std::vector<char> block(std::size_t{1} << 20);
  while (file) {
    file.read(block.data(), static_cast<std::streamsize>(block.size()));
    av_sha_update(sha.get(), reinterpret_cast<const std::uint8_t*>(block.data()),
                  static_cast<std::size_t>(file.gcount()));
  }
  if (!file.eof()) {
    throw UnreadableClip(
        fmt::format("{}: reading failed half way; check the disk it is on", printable(path)));
  }
  std::array<std::uint8_t, 32> digest{};
  av_sha_final(sha.get(), digest.data());
  std::string text;
  for (const std::uint8_t byte : digest) {
    text += fmt::format("{:02x}", byte);
  }
  return text;
}

}  // namespace nocktrail::media
