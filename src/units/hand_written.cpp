#include "nocktrail/units/hand_written.hpp"

#include <fcntl.h>
#include <fmt/format.h>
#include <sys/stat.h>
#include <unistd.h>

#include <array>
#include <cerrno>

#include "nocktrail/error.hpp"

namespace nocktrail::units {
namespace {

[[noreturn]] void refuse(std::string_view source, std::string_view why) {
  throw BadInput(fmt::format("{}: {}", source, why));
}

class Descriptor {
 public:
  explicit Descriptor(int fd) : fd_(fd) {}
  Descriptor(const Descriptor&) = delete;
  Descriptor& operator=(const Descriptor&) = delete;
  ~Descriptor() {
    if (fd_ >= 0) {
      ::close(fd_);
    }
  }
  int get() const { return fd_; }

 private:
  int fd_;
};

}  // namespace

std::optional<std::string> read_hand_written(const std::filesystem::path& path,
                                             std::string_view source) {
  struct stat status {};
  if (::stat(path.c_str(), &status) != 0) {
    if (errno == ENOENT || errno == ENOTDIR) {
      return std::nullopt;
    }
    refuse(source, "cannot be read; check its rights");
  }
  if (!S_ISREG(status.st_mode)) {
    refuse(source, "is no ordinary file; put the file itself there");
  }
  // Something else may have taken the place since: asked again, and never waited for.
  const Descriptor file(::open(path.c_str(), O_RDONLY | O_CLOEXEC | O_NOCTTY | O_NONBLOCK));
  if (file.get() < 0 || ::fstat(file.get(), &status) != 0 || !S_ISREG(status.st_mode)) {
    refuse(source, "cannot be read; check its rights");
  }
  std::string text;
  std::array<char, 16384> part{};
  ssize_t got = 0;
  while ((got = ::read(file.get(), part.data(), part.size())) > 0) {
    text.append(part.data(), static_cast<std::size_t>(got));
    if (text.size() > kMostHandWritten) {
      refuse(source, "is larger than 1 MB; give the file that was written by hand");
    }
  }
  if (got < 0) {
    refuse(source, "cannot be read; check the disk it is on");
  }
  return text;
}

std::string quoted_briefly(std::string_view words, std::size_t most) {
  if (words.size() <= most) {
    return std::string(words);
  }
  std::size_t end = most;
  while (end > 0 && (static_cast<unsigned char>(words[end]) & 0xC0U) == 0x80U) {
    --end;  // within a character of UTF-8
  }
  return std::string(words.substr(0, end)) + "…";
}

}  // namespace nocktrail::units
