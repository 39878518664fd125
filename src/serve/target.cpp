#include "target.hpp"

#include <charconv>

#include "refused.hpp"

namespace nocktrail::serve {
namespace {

constexpr std::size_t kLongestTarget = 4096;

int hex_digit(char c) {
  if (c >= '0' && c <= '9') {
    return c - '0';
  }
  const char lower = static_cast<char>(c | 0x20);
  return lower >= 'a' && lower <= 'f' ? lower - 'a' + 10 : -1;
}

// Percent-encoding (RFC 3986, 2.1); "+" is a space, as forms write it.
std::string decoded(std::string_view text) {
  std::string out;
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] == '%') {
      const int high = i + 2 < text.size() ? hex_digit(text[i + 1]) : -1;
      const int low = i + 2 < text.size() ? hex_digit(text[i + 2]) : -1;
      if (high < 0 || low < 0) {
        throw Refused(400, "the address is not written as one");
      }
      out += static_cast<char>(16 * high + low);
      i += 2;
    } else {
      out += text[i] == '+' ? ' ' : text[i];
    }
  }
  return out;
}

}  // namespace

Target Target::parse(std::string_view target) {
  if (target.empty() || target[0] != '/' || target.size() > kLongestTarget) {
    throw Refused(400, "the address is not written as one");
  }
  Target out;
  const std::size_t mark = target.find('?');
  out.path = decoded(target.substr(0, mark));
  std::string_view query = mark == std::string_view::npos ? "" : target.substr(mark + 1);
  while (!query.empty()) {
    const std::size_t end = query.find('&');
    const std::string_view one = query.substr(0, end);
    const std::size_t equals = one.find('=');
    out.query.emplace_back(decoded(one.substr(0, equals)), equals == std::string_view::npos
                                                               ? std::string()
                                                               : decoded(one.substr(equals + 1)));
    query = end == std::string_view::npos ? "" : query.substr(end + 1);
  }
  return out;
}

std::string Target::value(std::string_view name) const {
  for (const auto& [key, value] : query) {
    if (key == name) {
      return value;
    }
  }
  return {};
}

long Target::number(std::string_view name, long least, long most) const {
  const std::string digits = value(name);
  long number = 0;
  const auto [end, error] = std::from_chars(digits.data(), digits.data() + digits.size(), number);
  if (digits.empty() || error != std::errc() || end != digits.data() + digits.size() ||
      number < least || number > most) {
    throw Refused(400, std::string(name) + " is no whole number that can be here");
  }
  return number;
}

}  // namespace nocktrail::serve
