// A session to play with, for whoever has no clip yet: the folder of an invented archer's worked
// session (docs/worked-session.md), with readings in the place of all its clips but one.
#pragma once

#include <filesystem>

namespace nocktrail::desk {

class DemoFolder {
 public:
  // Makes the folder, which must be new or empty. Throws BadInput, one line, when it is neither, is
  // a link or cannot be written; nothing is left behind then.
  explicit DemoFolder(const std::filesystem::path& folder);
  DemoFolder(const DemoFolder&) = delete;
  DemoFolder& operator=(const DemoFolder&) = delete;
  // Takes away all that was made, judged results too, unless it was kept. What somebody else put
  // there meanwhile stays.
  ~DemoFolder();

  const std::filesystem::path& path() const { return path_; }
  void keep() { kept_ = true; }

 private:
  void take_away() const;

  std::filesystem::path path_;
  bool made_ = false;  // it was not there before
  bool kept_ = false;
};

}  // namespace nocktrail::desk
