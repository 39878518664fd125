// Times as people read and type them: local, with the zone's name. Files and JSON keep UTC.
#pragma once

#include <ctime>
#include <string>

namespace nocktrail::report {

// "2026-05-30 12:00 CEST".
std::string local_words(std::time_t at);

// The same of "2026-05-30T10:00:00Z" or "2026-05-30T10:00", both UTC. A day alone has no zone and
// stays as it is, as does what is no time.
std::string local_words(const std::string& utc);

// The instant that somebody who types "2026-05-30T12:00" or "2026-05-30T12:00:30" here means, as
// "2026-05-30T10:00:00Z"; where clocks are set back, the first of the two. With a "Z", a day alone,
// and what is no time: as it is.
std::string utc_of_local(const std::string& typed);

// The first instant of the day, month or year that is typed, and the last second of it, likewise in
// UTC; of anything else what utc_of_local gives.
std::string utc_of_first(const std::string& typed);
std::string utc_of_last(const std::string& typed);

}  // namespace nocktrail::report
