// The pictures drawn of a session's clips, named after clip and shot for whoever opens the folder.
//
//   stills/2-lower-IMG_0023.png      of the first shot; "-shot2" for the second
//   stills/SHA-KEY[-shotN].png       drawn, and not yet published under its name
//   stills.json                      what each named one shows, and which clip it is of
//
// What a still shows is its id, SHA-KEY[-shotN]: SHA begins the clip's content, KEY is a checksum
// of all that shows in it besides. A name moves from one picture to the next only when name_all()
// is called, so that what was published before keeps its pictures until there is something new.
//
// Files of somebody else in the folder are left alone: ours are the ones that stills.json names,
// unchanged since, those named by an id, and pictures with our mark.
#pragma once

#include <filesystem>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "nocktrail/report/own_folder.hpp"

namespace nocktrail::session {

class StillStore {
 public:
  explicit StillStore(const report::OwnFolder& results);

  // Reads stills.json; once the folder is held. What is none of ours is set aside.
  void load();

  // `shot` from 0; `judged_by`: text of all that shows in it.
  static std::string id_of(const std::string& sha256, const std::string& judged_by,
                           std::size_t shot);

  // The name for the stills of `clip`, without ending, safe in any file system and told from all
  // that this gave before; `setup` may be ".".
  std::string stem_for(const std::string& setup, const std::filesystem::path& clip);

  static std::string name_of(const std::string& stem, std::size_t shot);
  std::filesystem::path path_of(const std::string& name) const { return folder_.path() / name; }

  // Where the picture of this id lies now, under its name or not yet; empty when there is none.
  std::optional<std::filesystem::path> find(const std::string& id) const;
  // Throws BadInput.
  void keep(const std::string& id, const std::string& png) const;

  struct Named {
    std::string id;
    std::string name;
    std::filesystem::path clip;
  };
  // Gives each its name and removes other stills of the same contents. Throws BadInput when
  // stills.json cannot be written.
  void name_all(const std::vector<Named>& stills);

 private:
  struct Known {
    std::string id;
    std::string clip;
    std::string stamp;  // of the file
  };

  std::string stamp_of(const std::string& name) const;
  bool unchanged(const std::string& name) const;
  bool is_ours(const std::string& name) const;
  bool is_free(const std::string& stem, const std::filesystem::path& clip) const;
  std::string lies_at(const std::string& id) const;
  void drop_others(const std::vector<Named>& stills);
  void write() const;

  const report::OwnFolder& results_;
  report::OwnFolder folder_;
  std::map<std::string, Known> known_;  // by name
  std::set<std::string> given_;         // stems, in lower case
};

}  // namespace nocktrail::session
