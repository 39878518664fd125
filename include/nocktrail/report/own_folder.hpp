// A folder that the program keeps for itself. It may have come from somebody else, so nothing in it
// is trusted: no symbolic link is ever followed, for reading or for writing, and what is in the way
// of a file is set aside, not a reason to stop.
#pragma once

#include <filesystem>
#include <functional>
#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace nocktrail::report {

class OwnFolder {
 public:
  // What was set aside, one line each.
  using Say = std::function<void(const std::string& line)>;

  // Makes the folder and those above where they are not there. `named_by_user`: then a link that
  // leads to it is followed; else the last part of the path must not be one. Throws BadInput, which
  // speaks of --results.
  static OwnFolder open(const std::filesystem::path& path, bool named_by_user, Say say = {});
  OwnFolder(OwnFolder&&) noexcept;
  OwnFolder& operator=(OwnFolder&&) noexcept;
  ~OwnFolder();

  const std::filesystem::path& path() const { return path_; }

  // A folder inside, made where it is not there.
  OwnFolder inner(const std::string& name) const;

  // A regular file, no link.
  bool has(const std::string& name) const;
  // Empty when there is no regular file of this name, it cannot be read, or is larger than any of
  // ours.
  std::optional<std::string> content(const std::string& name) const;
  bool is_link(const std::string& name) const;
  // Size and time of writing of a regular file, which renaming it leaves; empty when it is none.
  std::optional<std::string> stamp(const std::string& name) const;
  // All names, in no order.
  std::vector<std::string> names() const;
  void remove(const std::string& name) const;
  // In the place of what has the other name, unless that is a folder.
  void rename(const std::string& from, const std::string& to) const;
  // Renames what has this name to "NAME.set-aside", in the place of what had that, and says so.
  void set_aside(const std::string& name, const std::string& why) const;

  // The file is there whole or not at all, as write_file_whole does it. Throws BadInput.
  void write_whole(const std::string& name, std::string_view bytes) const;

  // Files that get their names together. Whatever can fail for want of room has then been done:
  // what is left is renaming.
  class Publication {
   public:
    explicit Publication(const OwnFolder& folder);
    Publication(const Publication&) = delete;
    Publication& operator=(const Publication&) = delete;
    ~Publication();  // without a commit, all is as before

    // Throws BadInput.
    void add(const std::string& name, std::string_view bytes);
    void commit();

   private:
    struct Files;
    const OwnFolder& folder_;
    std::unique_ptr<Files> files_;
  };

  // Opens a file to hold a lock on; made where it is not there. -1 with errno.
  int open_lock(const std::string& name) const;

 private:
  OwnFolder(std::filesystem::path path, int fd, Say say);
  void make_room(const std::string& name) const;

  std::filesystem::path path_;
  int fd_;
  Say say_;
};

}  // namespace nocktrail::report
