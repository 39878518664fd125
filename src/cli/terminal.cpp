#include "terminal.hpp"

#include <sys/ioctl.h>
#include <unistd.h>

#include <algorithm>

namespace nocktrail::cli {
namespace {

constexpr std::size_t kWidestText = 100;
// Narrower, and single words would stand alone.
constexpr std::size_t kNarrowest = 20;

}  // namespace

std::size_t terminal_columns() {
  winsize size{};
  if (::isatty(STDOUT_FILENO) != 1 || ::ioctl(STDOUT_FILENO, TIOCGWINSZ, &size) != 0 ||
      size.ws_col == 0) {
    return 0;
  }
  return std::max<std::size_t>(kNarrowest, size.ws_col);
}

std::size_t text_columns(std::size_t otherwise) {
  const std::size_t columns = terminal_columns();
  return columns == 0 ? otherwise : std::min(columns, kWidestText);
}

}  // namespace nocktrail::cli
