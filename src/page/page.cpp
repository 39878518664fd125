#include "nocktrail/page/page.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "html.hpp"
#include "nocktrail/version.hpp"
#include "sections.hpp"

namespace nocktrail::page {
namespace {

struct Part {
  const char* id;
  const char* name;
  void (*write)(pugi::xml_node, const Content&);
};

// What to do comes first; the evidence follows; what goes to the workbench is last, on its own.
constexpr Part kParts[] = {
    {"verdict", "Verdict and next step", verdict_section},
    {"glance", "The session at a glance", glance_section},
    {"setups", "Set-ups", setups_section},
    {"answers", "What this bow answers to a change", answers_section},
    {"flight", "Along the flight", flight_section},
    {"stills", "Stills", stills_section},
    {"refused", "Refused and left out", refused_section},
    {"cautions", "Cautions", cautions_section},
    {"help", "How to read this page", reading_help_section},
};

std::string title_of(const tune::SessionRecord& session) {
  return session.name.empty() ? std::string("Tuning session") : session.name;
}

std::string counted_words(const Content& content) {
  int counted = 0;
  int refused = 0;
  int from_side = 0;
  for (const SetupView& setup : content.setups) {
    counted += setup.judged->counted;
    from_side += static_cast<int>(
        std::count_if(setup.judged->side_shots.begin(), setup.judged->side_shots.end(),
                      [](const tune::SideShot& shot) { return !shot.dropped; }));
    refused += setup.judged->refused;
  }
  const auto number = [](int count, const char* what) {
    return fmt::format("{} {}{}", count, what, count == 1 ? "" : "s");
  };
  return fmt::format("{}, {} counted{}, {} without a number",
                     number(static_cast<int>(content.setups.size()), "set-up"),
                     number(counted, "shot"),
                     from_side > 0 ? fmt::format(" and {} from the side", from_side) : "",
                     number(refused, "clip"));
}

void contents(pugi::xml_node parent) {
  const pugi::xml_node list = element(element(parent, "nav", {{"aria-label", "Contents"}}), "ul");
  for (const Part& part : kParts) {
    element(element(list, "li"), "a", {{"href", fmt::format("#{}", part.id)}}, part.name);
  }
  element(element(list, "li"), "a", {{"href", "#sheet"}}, "Build sheet");
}

void written(pugi::xml_node parent, const PageOptions& options) {
  element(parent, "p", {{"class", "soft"}},
          options.written_at.empty()
              ? fmt::format("nocktrail {}", kVersion)
              : fmt::format("Written {}, nocktrail {}", options.written_at, kVersion));
}

}  // namespace

std::filesystem::path still_in_folder(const tune::SessionRecord& session,
                                      const tune::ClipRecord& clip) {
  return clip.still.empty() ? std::filesystem::path()
                            : std::filesystem::path(session.folder) / clip.still;
}

std::string page_html(const tune::SessionRecord& session, const tune::SessionJudgement& judgement,
                      const PageOptions& options) {
  const Content content{session, judgement, options, views_of(session, judgement)};
  pugi::xml_document document;
  const pugi::xml_node body =
      start_page(document, fmt::format("{}: tuning session", title_of(session)));
  const pugi::xml_node header = element(body, "header");
  element(header, "h1", {}, title_of(session));
  made_up_line(header, content);
  element(header, "p", {}, fmt::format("Tuning session: {}.", counted_words(content)));
  written(header, options);
  contents(header);
  const pugi::xml_node main = element(body, "main");
  for (const Part& part : kParts) {
    const pugi::xml_node section =
        element(main, "section", {{"id", part.id}, {"aria-label", part.name}});
    if (std::string_view(part.id) != "verdict") {
      element(section, "h2", {}, part.name);
    }
    part.write(section, content);
  }
  sheet_section(main, content);
  return page_bytes(document);
}

std::string build_sheet_html(const tune::SessionRecord& session,
                             const tune::SessionJudgement& judgement, const PageOptions& options) {
  const Content content{session, judgement, options, views_of(session, judgement)};
  pugi::xml_document document;
  const pugi::xml_node body =
      start_page(document, fmt::format("{}: build sheet", title_of(session)));
  sheet_section(element(body, "main"), content);
  return page_bytes(document);
}

}  // namespace nocktrail::page
