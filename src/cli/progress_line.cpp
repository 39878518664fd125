#include "progress_line.hpp"

#include <fmt/format.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include <algorithm>
#include <cstdio>

namespace nocktrail::cli {

ProgressLine::ProgressLine(bool wanted) : shown_(wanted && ::isatty(STDERR_FILENO) == 1) {}

void ProgressLine::show(const std::string& words) {
  const auto now = std::chrono::steady_clock::now();
  if (!shown_ || now - last_ < std::chrono::milliseconds(100)) {
    return;
  }
  last_ = now;
  winsize size{};
  std::size_t width = 80;
  if (::ioctl(STDERR_FILENO, TIOCGWINSZ, &size) == 0 && size.ws_col > 1) {
    width = size.ws_col;
  }
  // A line that wraps cannot be overwritten. Cut between characters of UTF-8.
  std::size_t end = std::min(words.size(), width - 1);
  while (end < words.size() && end > 0 &&
         (static_cast<unsigned char>(words[end]) & 0xC0U) == 0x80U) {
    --end;
  }
  // Not fmt::print, which throws when the terminal is gone.
  std::fputs(fmt::format("\r\033[K{}", words.substr(0, end)).c_str(), stderr);
  std::fflush(stderr);
  drawn_ = true;
}

void ProgressLine::clear() {
  if (drawn_) {
    std::fputs("\r\033[K", stderr);
    drawn_ = false;
  }
}

}  // namespace nocktrail::cli
