// Whether a file that the user names may be written. Asked before any work, so that a slip of the
// command line costs one line and never a clip, a logbook or a file written by hand.
#pragma once

#include <filesystem>
#include <functional>
#include <nlohmann/json_fwd.hpp>
#include <string>
#include <string_view>
#include <vector>

namespace nocktrail::session {

// What an option writes, and how an older one of its kind is told from anything else.
struct Product {
  std::string words;  // "a still of nocktrail"
  std::function<bool(const std::string& bytes)> is_older;
  bool is_video = false;  // so that a video's name and content are no reason against it
};

// JSON that parses and names this schema, of whatever number: "nocktrail.reading/". A list of such
// objects counts, and an empty list.
Product json_of(const std::string& schema);
// JSON without a schema of its own: an object with just the keys of `sample`, or a list of such
// objects where `sample` is a list.
Product json_like(const nlohmann::ordered_json& sample, const std::string& words);
// Pictures with the mark that media::png_bytes leaves. Those from before there was a mark count by
// what they are made of, a still by its width too (media::png_parts); a debug picture's name is for
// the caller to look at.
Product still_picture();
Product debug_picture();
// An SVG drawing, a page of HTML: each names its generator.
Product plot();
Product page();
// A film with the mark that media/film.hpp leaves; no other video is one.
Product film();

class OutputCheck {
 public:
  // A file that is never to be written over, and what it is: "one of the clips to be read".
  void keep(const std::filesystem::path& path, const std::string& what);
  // The file and what SQLite keeps beside it.
  void keep_logbook(const std::filesystem::path& path);

  // Throws BadInput, one line that begins with `option`, unless `path` may be written: it is not
  // among what is kept, under whatever name (device and inode are compared); neither its ending nor
  // its content is a video's, unless that is what is written; its name is not that of a
  // hand-written file; and it is not there yet, or empty, or plainly an older product. Pipes and
  // devices may always be written.
  void check(std::string_view option, const std::filesystem::path& path,
             const Product& product) const;

  // The same for a logbook, which is written into: what is there already must be an SQLite file.
  void check_logbook(std::string_view option, const std::filesystem::path& path) const;

  // The same for a folder of results: what has one of their names in it must be of ours.
  void check_results(std::string_view option, const std::filesystem::path& folder) const;

 private:
  struct Kept {
    std::filesystem::path path;
    std::string what;
  };
  void refuse_kept(std::string_view option, const std::filesystem::path& path) const;
  void refuse_clip(std::string_view option, const std::filesystem::path& path) const;

  std::vector<Kept> kept_;
};

}  // namespace nocktrail::session
