#include "nocktrail/report/local_time.hpp"

#include <array>
#include <chrono>
#include <optional>

namespace nocktrail::report {
namespace {

// The whole of `words` in the form.
std::optional<std::tm> parsed(const std::string& words, const char* form) {
  std::tm parts{};
  parts.tm_mday = 1;
  const char* const end = ::strptime(words.c_str(), form, &parts);
  using namespace std::chrono;
  // strptime(3) takes every month to have 31 days.
  const year_month_day date{year(parts.tm_year + 1900), month(unsigned(parts.tm_mon + 1)),
                            day(unsigned(parts.tm_mday))};
  return end != nullptr && *end == '\0' && date.ok() ? std::optional<std::tm>(parts) : std::nullopt;
}

std::optional<std::tm> moment(const std::string& words) {
  for (const char* form : {"%Y-%m-%dT%H:%M:%S", "%Y-%m-%dT%H:%M"}) {
    if (const std::optional<std::tm> parts = parsed(words, form)) {
      return parts;
    }
  }
  return std::nullopt;
}

std::string utc_words(std::time_t at) {
  std::tm parts{};
  ::gmtime_r(&at, &parts);
  std::array<char, 64> text{};
  return {text.data(), std::strftime(text.data(), text.size(), "%Y-%m-%dT%H:%M:%SZ", &parts)};
}

// Of local clocks; whether it is summer, the zone's own rules decide.
std::time_t local_instant(std::tm parts) {
  parts.tm_isdst = -1;
  return std::mktime(&parts);
}

// The day, month or year that is typed, and how it goes on to the next.
struct Span {
  std::tm first{};
  int std::tm::*counted = nullptr;
};

std::optional<Span> span_of(const std::string& typed) {
  constexpr std::size_t kYear = 4;
  constexpr std::size_t kMonth = 7;
  constexpr std::size_t kDay = 10;
  Span span;
  std::optional<std::tm> first;
  switch (typed.size()) {
    case kYear:
      first = parsed(typed, "%Y");
      span.counted = &std::tm::tm_year;
      break;
    case kMonth:
      first = parsed(typed, "%Y-%m");
      span.counted = &std::tm::tm_mon;
      break;
    case kDay:
      first = parsed(typed, "%Y-%m-%d");
      span.counted = &std::tm::tm_mday;
      break;
    default:
      break;
  }
  if (!first) {
    return std::nullopt;
  }
  span.first = *first;
  return span;
}

}  // namespace

std::string local_words(std::time_t at) {
  std::tm parts{};
  if (::localtime_r(&at, &parts) == nullptr) {
    return {};
  }
  std::array<char, 64> text{};
  return {text.data(), std::strftime(text.data(), text.size(), "%Y-%m-%d %H:%M %Z", &parts)};
}

std::string local_words(const std::string& utc) {
  std::optional<std::tm> parts = moment(utc.ends_with('Z') ? utc.substr(0, utc.size() - 1) : utc);
  return parts ? local_words(::timegm(&*parts)) : utc;
}

std::string utc_of_local(const std::string& typed) {
  const std::optional<std::tm> parts = moment(typed);
  return parts ? utc_words(local_instant(*parts)) : typed;
}

std::string utc_of_first(const std::string& typed) {
  const std::optional<Span> span = span_of(typed);
  return span ? utc_words(local_instant(span->first)) : utc_of_local(typed);
}

std::string utc_of_last(const std::string& typed) {
  std::optional<Span> span = span_of(typed);
  if (!span) {
    return utc_of_local(typed);
  }
  ++(span->first.*span->counted);
  return utc_words(local_instant(span->first) - 1);
}

}  // namespace nocktrail::report
