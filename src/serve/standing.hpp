// What the folder's own files say now, beside what was judged last: judging waits for clips to be
// read, limits need neither clips nor a model.
#pragma once

#include <filesystem>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "board.hpp"
#include "nocktrail/tune/judgement.hpp"

namespace nocktrail::serve {

struct Standing {
  std::size_t waiting = 0;  // clips not yet read
  // The set-ups that the folder has now, in order; empty where it cannot be listed.
  std::vector<std::string> setups;
  // What forbids to shoot, by the facts as they stand and by the shots judged; by set-up.
  std::map<std::string, std::vector<std::string>> stops;
  // In the place of the step that was judged last, where that no longer holds: a stop, or that the
  // session is being judged.
  std::optional<tune::Step> instead;
};

// `folder` is the session's. Where it cannot be listed (the disk was taken out), what was judged
// to forbid stands.
Standing standing(const std::filesystem::path& folder, const Snapshot& snapshot);

}  // namespace nocktrail::serve
