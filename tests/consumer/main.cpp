// Uses the installed library as a stranger would: a clip that is not there comes back as an error
// in one line, and the headers compile without the project's own include paths.
#include <cstdio>
#include <nocktrail/arrow/spine.hpp>
#include <nocktrail/pipeline/read_clip.hpp>
#include <nocktrail/report/json.hpp>

int main() {
  const nocktrail::Reading reading = nocktrail::read_clip("no-such-clip.mp4", {});
  std::printf("%s\n", reading.reason.c_str());
  return reading.status == nocktrail::ClipStatus::error && !reading.reason.empty() ? 0 : 1;
}
