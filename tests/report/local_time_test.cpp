#include "nocktrail/report/local_time.hpp"

#include <doctest/doctest.h>

#include <cstdlib>
#include <optional>
#include <string>

using namespace nocktrail::report;

namespace {

// A zone by its rules (POSIX.1-2017, 8.3, TZ), so that no table of zones is needed.
class Zone {
 public:
  explicit Zone(const char* rules) {
    if (const char* before = std::getenv("TZ")) {
      before_ = before;
    }
    ::setenv("TZ", rules, 1);
    ::tzset();
  }
  ~Zone() {
    before_ ? ::setenv("TZ", before_->c_str(), 1) : ::unsetenv("TZ");
    ::tzset();
  }

 private:
  std::optional<std::string> before_;
};

// Central Europe; Newfoundland, which is half an hour off.
constexpr const char* kEurope = "CET-1CEST,M3.5.0,M10.5.0/3";
constexpr const char* kNewfoundland = "NST3:30NDT,M3.2.0,M11.1.0";

}  // namespace

TEST_CASE("reference: local times by the zone's rules, summer and winter, with its name") {
  {
    const Zone zone(kEurope);
    CHECK(local_words(std::string("2026-05-30T10:00:00Z")) == "2026-05-30 12:00 CEST");
    CHECK(local_words(std::string("2026-11-29T10:00")) == "2026-11-29 11:00 CET");
    CHECK(local_words(std::string("2026-12-31T23:30:00Z")) == "2027-01-01 00:30 CET");
    CHECK(local_words(std::time_t{0}) == "1970-01-01 01:00 CET");
  }
  {
    const Zone zone(kNewfoundland);
    CHECK(local_words(std::string("2026-05-30T10:00:00Z")) == "2026-05-30 07:30 NDT");
  }
  const Zone zone("UTC0");
  CHECK(local_words(std::string("2026-05-30T10:00:00Z")) == "2026-05-30 10:00 UTC");
  CHECK(local_words(std::string("2026-05-30")) == "2026-05-30");  // a day has no zone
  CHECK(local_words(std::string("soon")) == "soon");
}

TEST_CASE("unit: what is typed is local, unless it says Z") {
  const Zone zone(kEurope);
  CHECK(utc_of_local("2026-05-30T12:00") == "2026-05-30T10:00:00Z");
  CHECK(utc_of_local("2026-11-29T11:00:30") == "2026-11-29T10:00:30Z");
  CHECK(utc_of_local("2026-05-30T12:00:00Z") == "2026-05-30T12:00:00Z");
  CHECK(utc_of_local("2026-05-30") == "2026-05-30");
  CHECK(utc_of_local("soon") == "soon");
  CHECK(utc_of_first("2026-05-30") == "2026-05-29T22:00:00Z");
  CHECK(utc_of_last("2026-05-30") == "2026-05-30T21:59:59Z");
  // The day on which clocks are set back has 25 hours.
  CHECK(utc_of_first("2026-10-25") == "2026-10-24T22:00:00Z");
  CHECK(utc_of_last("2026-10-25") == "2026-10-25T22:59:59Z");
  CHECK(utc_of_first("2026-02") == "2026-01-31T23:00:00Z");
  CHECK(utc_of_last("2026-02") == "2026-02-28T22:59:59Z");
  CHECK(utc_of_first("2026") == "2025-12-31T23:00:00Z");
  CHECK(utc_of_last("2026") == "2026-12-31T22:59:59Z");
  CHECK(utc_of_last("2026-05-30T12:00") == "2026-05-30T10:00:00Z");
  CHECK(utc_of_first("").empty());
  // A day that no calendar has is not another day.
  CHECK(utc_of_first("2026-02-30") == "2026-02-30");
  CHECK(utc_of_last("2026-02-30") == "2026-02-30");
  CHECK(utc_of_local("2026-02-30T10:00") == "2026-02-30T10:00");
  CHECK(utc_of_first("2028-02-29") == "2028-02-28T23:00:00Z");
}
