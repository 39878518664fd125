#include "output_names.hpp"

#include <fmt/format.h>

#include <string>

namespace nocktrail::cli {
namespace {

namespace fs = std::filesystem;

fs::path not_taken(const fs::path& folder, const std::string& stem, const std::string& ending,
                   std::set<fs::path>& taken) {
  fs::path name = folder / (stem + ending);
  for (int n = 2; !taken.insert(name).second; ++n) {
    name = folder / fmt::format("{}-{}{}", stem, n, ending);
  }
  return name;
}

}  // namespace

fs::path still_name(const fs::path& still, const fs::path& clip, bool several_clips,
                    std::size_t shot_number, std::set<fs::path>& taken) {
  std::string stem = still.stem().string();
  if (several_clips) {
    stem += fmt::format("-{}", clip.stem().string());
  }
  if (shot_number > 1) {
    stem += fmt::format("-shot{}", shot_number);
  }
  return not_taken(still.parent_path(), stem, still.extension().string(), taken);
}

fs::path debug_folder(const fs::path& folder, const fs::path& clip, bool several_clips,
                      std::set<fs::path>& taken) {
  return several_clips ? not_taken(folder, clip.stem().string(), "", taken) : folder;
}

bool is_debug_name(const fs::path& file) {
  const std::string name = file.filename().string();
  const std::size_t digits = name.find_first_not_of("0123456789.");
  return digits != 0 && digits != std::string::npos && name.compare(digits, 2, "s-") == 0 &&
         file.extension() == ".png";
}

}  // namespace nocktrail::cli
