// Stills made small enough to be carried inside the page.
#pragma once

#include <cstddef>
#include <filesystem>
#include <map>
#include <string>
#include <vector>

namespace nocktrail::page {

struct EmbeddedStill {
  std::string data_uri;  // JPEG, base64 (RFC 2397)
  int width_px = 0;
  int height_px = 0;
};

// For each of `files` in order, earlier ones before later ones, what fits in `most_bytes` of data
// URIs altogether. A file that cannot be read as a picture, or no longer fits, has an empty URI;
// `left_out` counts the latter.
struct EmbeddedStills {
  std::map<std::filesystem::path, EmbeddedStill> by_file;
  std::size_t left_out = 0;
};
EmbeddedStills embedded_stills(const std::vector<std::filesystem::path>& files,
                               std::size_t most_bytes);

}  // namespace nocktrail::page
