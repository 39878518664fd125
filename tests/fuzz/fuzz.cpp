#include "fuzz.hpp"

#include <unistd.h>

#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <system_error>

namespace nocktrail::fuzz {
namespace fs = std::filesystem;

namespace {

struct Folder {
  Folder() {
    const fs::path memory = "/dev/shm";
    const fs::path base = ::access(memory.c_str(), W_OK) == 0 ? memory : fs::temp_directory_path();
    std::string pattern = (base / "nocktrail-fuzz-XXXXXX").string();
    require(::mkdtemp(pattern.data()) != nullptr, "no folder for scratch files");
    path = pattern;
  }
  Folder(const Folder&) = delete;
  Folder& operator=(const Folder&) = delete;
  ~Folder() {
    std::error_code ignored;
    fs::remove_all(path, ignored);
  }
  fs::path path;
};

}  // namespace

void require(bool holds, std::string_view what) {
  if (!holds) {
    std::fprintf(stderr, "fuzz: %.*s\n", static_cast<int>(what.size()), what.data());
    std::abort();
  }
}

void require_one_line(const std::exception& fault) {
  const std::string_view line = fault.what();
  require(!line.empty(), "a message without words");
  require(std::none_of(line.begin(), line.end(),
                       [](char c) { return static_cast<unsigned char>(c) < 0x20 || c == 0x7f; }),
          "a message of more than one line, or with control characters");
}

const fs::path& scratch_folder() {
  static const Folder folder;
  return folder.path;
}

fs::path scratch_file(const std::string& name, std::string_view bytes) {
  const fs::path path = scratch_folder() / name;
  std::ofstream out(path, std::ios::binary | std::ios::trunc);
  out.write(bytes.data(), static_cast<std::streamsize>(bytes.size()));
  out.close();
  require(out.good(), "the scratch file cannot be written");
  return path;
}

}  // namespace nocktrail::fuzz
