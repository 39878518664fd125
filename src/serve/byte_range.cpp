#include "byte_range.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <optional>

namespace nocktrail::serve {
namespace {

std::optional<std::size_t> number(std::string_view digits) {
  std::size_t value = 0;
  const auto [end, error] = std::from_chars(digits.data(), digits.data() + digits.size(), value);
  return error == std::errc() && end == digits.data() + digits.size()
             ? std::optional<std::size_t>(value)
             : std::nullopt;
}

}  // namespace

void take_range(Answer& answer, std::string_view range) {
  constexpr std::string_view kBytes = "bytes=";
  const std::size_t dash = range.find('-');
  if (answer.status != 200 || !range.starts_with(kBytes) || dash == std::string_view::npos ||
      range.find(',') != std::string_view::npos) {
    return;
  }
  const std::size_t size = answer.body.size();
  const std::string_view first = range.substr(kBytes.size(), dash - kBytes.size());
  const std::string_view last = range.substr(dash + 1);
  std::size_t from = 0;
  std::size_t to = size;  // one past the last
  if (first.empty()) {    // so many from the end
    const std::optional<std::size_t> count = number(last);
    if (!count) {
      return;
    }
    from = size - std::min(size, *count);
  } else {
    const std::optional<std::size_t> begin = number(first);
    const std::optional<std::size_t> end = last.empty() ? size : number(last);
    if (!begin || !end || (!last.empty() && *end < *begin)) {
      return;
    }
    from = *begin;
    to = last.empty() ? size : std::min(size, *end + std::size_t{*end < size});
  }
  if (from >= size) {
    answer.status = 416;
    answer.content_range = fmt::format("bytes */{}", size);
    answer.body.clear();
    return;
  }
  answer.status = 206;
  answer.content_range = fmt::format("bytes {}-{}/{}", from, to - 1, size);
  answer.body = answer.body.substr(from, to - from);
}

}  // namespace nocktrail::serve
