// The parts of the page, each put at the end of `parent`.
#pragma once

#include <pugixml.hpp>
#include <string>
#include <vector>

#include "nocktrail/page/page.hpp"
#include "views.hpp"

namespace nocktrail::page {

struct Content {
  const tune::SessionRecord& session;
  const tune::SessionJudgement& judgement;
  const PageOptions& options;
  std::vector<SetupView> setups;
};

void cautions_list(pugi::xml_node parent, const std::vector<std::string>& cautions);

void verdict_section(pugi::xml_node parent, const Content& content);
void glance_section(pugi::xml_node parent, const Content& content);
void setups_section(pugi::xml_node parent, const Content& content);
void answers_section(pugi::xml_node parent, const Content& content);
void flight_section(pugi::xml_node parent, const Content& content);
void stills_section(pugi::xml_node parent, const Content& content);
void refused_section(pugi::xml_node parent, const Content& content);
void cautions_section(pugi::xml_node parent, const Content& content);
void reading_help_section(pugi::xml_node parent, const Content& content);
// Of a session that was never shot, on whatever may be carried off alone.
void made_up_line(pugi::xml_node parent, const Content& content);
// On a page of its own in print. Without a build sheet: says so.
void sheet_section(pugi::xml_node parent, const Content& content);

}  // namespace nocktrail::page
