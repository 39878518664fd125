// The session that `nocktrail demo` leaves, put into the program when it is built (src/desk/demo):
// what its invented archer wrote, readings of her clips, and one of the clips.
// tools/demo_readings.sh makes them anew.
#pragma once

#include <span>
#include <string_view>

namespace nocktrail::desk {

struct DemoFile {
  const char* path;  // within the session's folder
  std::string_view bytes;
};

// By path.
std::span<const DemoFile> demo_files();

}  // namespace nocktrail::desk
