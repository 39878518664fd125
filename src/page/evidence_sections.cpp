// Stills, refusals, cautions, and how to read the page.
#include <fmt/format.h>

#include <algorithm>

#include "html.hpp"
#include "numbers.hpp"
#include "sections.hpp"
#include "stills.hpp"

namespace nocktrail::page {
namespace {

struct Still {
  const SetupView& setup;
  const tune::ClipRecord& clip;
  std::filesystem::path file;
};

std::string name_of(const Still& still) {
  const std::filesystem::path named = still.clip.still;
  return (named.empty() ? still.file : named).filename().string();
}

// By set-up, in order of shooting.
std::vector<Still> stills_of(const Content& content) {
  std::vector<Still> stills;
  for (const SetupView& setup : content.setups) {
    for (const tune::ClipRecord& clip : setup.record->clips) {
      std::filesystem::path file = content.options.still
                                       ? content.options.still(*setup.record, clip)
                                       : still_in_folder(content.session, clip);
      if (!file.empty()) {
        stills.push_back({setup, clip, std::move(file)});
      }
    }
  }
  return stills;
}

// What the picture says, for those who do not see it and below it for those who do.
std::string offsets_of(const Still& still) {
  std::string words;
  for (const ShotView& view : still.setup.shots) {
    if (view.clip == &still.clip) {
      const bool by_hand = view.shot != nullptr && view.shot->by == ReadBy::hand;
      words +=
          fmt::format("{}shot {}{}, {}, {}", words.empty() ? "" : "; ", view.number,
                      by_hand ? ", marked by hand" : "", offset_words(view.judged->lat_deg, false),
                      offset_words(view.judged->vert_deg, true));
    }
  }
  for (const SideShotView& view : still.setup.from_side) {
    if (view.clip == &still.clip) {
      words += fmt::format("{}from the side, {} against plumb", words.empty() ? "" : "; ",
                           offset_words(view.judged->high_deg, true));
    }
  }
  return words.empty() ? "no number" : words;
}

// The reason, without the folder of the session in front of a file's name: the page is carried to
// where that folder means nothing.
std::string reason_of(const tune::SessionRecord& session, const std::string& told) {
  if (told.empty()) {
    return "no reason given";
  }
  std::string reason = told;
  const std::string folder = session.folder + "/";
  const std::size_t at = session.folder.empty() ? std::string::npos : reason.find(folder);
  return at == std::string::npos ? reason : reason.erase(at, folder.size());
}

const char* status_words(ClipStatus status) {
  switch (status) {
    case ClipStatus::no_shot:
      return "no shot found";
    case ClipStatus::refused:
      return "refused";
    case ClipStatus::error:
      return "could not be read";
    case ClipStatus::measured:
      break;
  }
  return "measured";
}

}  // namespace

void stills_section(pugi::xml_node parent, const Content& content) {
  const std::vector<Still> stills =
      content.options.stills ? stills_of(content) : std::vector<Still>();
  std::size_t away = 0;
  for (const SetupView& setup : content.setups) {
    away += static_cast<std::size_t>(
        std::count_if(setup.record->clips.begin(), setup.record->clips.end(),
                      [](const tune::ClipRecord& clip) { return clip.away; }));
  }
  if (away > 0) {
    element(parent, "p", {},
            fmt::format("{} clip{} not in the folder: a reading made elsewhere stands in for each, "
                        "and there is no still of it.",
                        away, away == 1 ? " is" : "s are"));
  }
  if (stills.empty()) {
    element(parent, "p", {}, "No stills on this page.");
    return;
  }
  std::vector<std::filesystem::path> newest_first;
  for (auto still = stills.rbegin(); still != stills.rend(); ++still) {
    newest_first.push_back(still->file);
  }
  const EmbeddedStills embedded = embedded_stills(newest_first, content.options.most_still_bytes);
  if (embedded.left_out > 0) {
    element(parent, "p", {},
            fmt::format("{} still{} of the earliest set-ups would make this page too large to "
                        "carry about; they lie beside the clips.",
                        embedded.left_out, embedded.left_out == 1 ? "" : "s"));
  }
  const SetupView* setup = nullptr;
  pugi::xml_node group;
  for (const Still& still : stills) {
    if (&still.setup != setup) {
      setup = &still.setup;
      element(parent, "h3", {}, setup->judged->name);
      group = element(parent, "div", {{"class", "stills"}});
    }
    const std::string words = fmt::format("{}: {}", still.clip.file, offsets_of(still));
    const pugi::xml_node figure = element(group, "figure");
    const EmbeddedStill& picture = embedded.by_file.at(still.file);
    if (picture.data_uri.empty()) {
      element(figure, "p", {{"class", "soft"}}, fmt::format("Not shown: {}", name_of(still)));
    } else {
      element(figure, "img",
              {{"src", picture.data_uri},
               {"alt", fmt::format("Still of {}", words)},
               {"width", std::to_string(picture.width_px)},
               {"height", std::to_string(picture.height_px)}});
    }
    element(figure, "figcaption", {}, words);
  }
}

void refused_section(pugi::xml_node parent, const Content& content) {
  std::vector<std::vector<std::string>> lines;
  for (const SetupView& setup : content.setups) {
    const std::string& name = setup.judged->name;
    for (const tune::ClipRecord& clip : setup.record->clips) {
      if (clip.reading.status != ClipStatus::measured) {
        const bool by_hand =
            !clip.reading.shots.empty() && clip.reading.shots.front().by == ReadBy::hand;
        lines.push_back({name, clip.file + (by_hand ? ", marked by hand" : ""),
                         status_words(clip.reading.status),
                         reason_of(content.session, clip.reading.reason)});
        continue;
      }
      for (std::size_t i = 0; i < clip.reading.shots.size(); ++i) {
        const Shot& shot = clip.reading.shots[i];
        if (shot.status == ShotStatus::refused) {
          lines.push_back({name, fmt::format("{}, shot {}", clip.file, i + 1), "refused",
                           reason_of(content.session, shot.reason)});
        }
      }
    }
    for (const ShotView& view : setup.shots) {
      const tune::JudgedShot& shot = *view.judged;
      if (shot.dropped || shot.outlier) {
        lines.push_back({name, shot_name(shot.clip), shot.dropped ? "left out" : "counts less",
                         shot.why.empty() ? "no reason given" : shot.why});
      }
    }
    for (const SideShotView& view : setup.from_side) {
      if (view.judged->dropped) {
        lines.push_back({name, shot_name(view.judged->clip), "left out",
                         view.judged->why.empty() ? "no reason given" : view.judged->why});
      }
    }
  }
  if (lines.empty()) {
    element(parent, "p", {}, "Nothing was refused, and nothing left out.");
    return;
  }
  const pugi::xml_node body =
      table(parent, "What did not count in full, and why", {"Set-up", "Clip", "What", "Why"});
  for (const std::vector<std::string>& line : lines) {
    row(body, {line[0], line[1], line[2], line[3]});
  }
}

void cautions_section(pugi::xml_node parent, const Content& content) {
  std::vector<std::string> all;
  const auto add = [&](const std::string& caution) {
    if (std::find(all.begin(), all.end(), caution) == all.end()) {
      all.push_back(caution);
    }
  };
  for (const std::string& caution : content.judgement.cautions) {
    add(caution);
  }
  for (const std::string& caution : content.judgement.next.cautions) {
    add(caution);
  }
  for (const SetupView& setup : content.setups) {
    for (const std::string& warning : setup.judged->warnings) {
      add(fmt::format("{}: {}", setup.judged->name, warning));
    }
  }
  if (all.empty()) {
    element(parent, "p", {}, "None beyond the rules of your range, which come before this page.");
    return;
  }
  cautions_list(parent, all);
}

void reading_help_section(pugi::xml_node parent, const Content& content) {
  element(parent, "p", {},
          "An offset is the angle between the arrow and its line of flight, with the nock 2 m past "
          "the rest, in the frame of the bow. Lateral: the nock trails to the shooter's left or "
          "right. Vertical: it trails high or low. For a right-handed archer shooting off the "
          "fingers, left reads as a weak shaft and right as a stiff one; for a left-handed archer "
          "the other way round.");
  element(parent, "p", {},
          fmt::format("Every ± is half of a 95 % interval. An interval wholly inside the dead band "
                      "of ±{} deg is as good as straight; one that crosses its edge is unclear, "
                      "and more shots narrow it. Scatter is the standard deviation from shot to "
                      "shot, the error of measuring taken out.",
                      plain_number(content.options.dead_band_deg, 3)));
}

}  // namespace nocktrail::page
