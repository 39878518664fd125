#include "board.hpp"

#include <algorithm>
#include <iterator>

#include "nocktrail/error.hpp"
#include "nocktrail/report/own_folder.hpp"
#include "nocktrail/rules/words.hpp"
#include "nocktrail/session/words.hpp"

namespace nocktrail::serve {
namespace {

using nlohmann::json;

// Of progress, as often as an eye follows.
constexpr std::chrono::milliseconds kBetweenSteps{250};
constexpr std::size_t kMostMessages = 12;

std::shared_ptr<Published> published(const tune::SessionRecord& record,
                                     const tune::SessionJudgement& judgement,
                                     const std::vector<std::string>& messages) {
  auto one = std::make_shared<Published>();
  one->record = record;
  one->judgement = judgement;
  one->json = session::session_json(record, judgement, messages);
  return one;
}

std::string text_in(const json& document, const char* name) {
  const auto found = document.find(name);
  return found != document.end() && found->is_string() ? found->get<std::string>() : "";
}

// What session.json holds from before this start; nothing where it cannot be made out.
std::optional<json> judged_before(const std::filesystem::path& folder, const std::string& results) {
  const std::filesystem::path where =
      results.empty() ? folder / session::kResultsFolder : std::filesystem::path(results);
  std::error_code error;
  if (!std::filesystem::is_directory(where, error)) {
    return std::nullopt;
  }
  try {
    const auto text = report::OwnFolder::open(where, !results.empty()).content("session.json");
    json document = json::parse(text.value_or(""), nullptr, false);
    if (document.is_object() && text_in(document, "schema") == "nocktrail.session/2" &&
        document.contains("next") && document["next"].is_object() && document.contains("setups") &&
        document["setups"].is_array() &&
        std::all_of(document["setups"].begin(), document["setups"].end(),
                    [](const json& setup) { return setup.is_object(); })) {
      return document;
    }
  } catch (const BadInput&) {
    // What cannot be opened tells nothing.
  }
  return std::nullopt;
}

// What forbade before this start forbids until the session is judged anew; its step stands no more.
void take_up(Published& first, json document) {
  tune::SessionJudgement& judgement = first.judgement;
  judgement.setups.clear();
  for (const json& one : document["setups"]) {
    const auto stops = one.find("stops");
    if (stops == one.end() || !stops->is_array()) {
      continue;
    }
    tune::SetupJudgement& setup = judgement.setups.emplace_back();
    setup.name = text_in(one, "name");
    for (const json& stop : *stops) {
      if (stop.is_string()) {
        setup.stops.push_back(rules::printable(stop.get<std::string>()));
      }
    }
  }
  const json& next = document["next"];
  judgement.next = {};
  for (const StepKind kind :
       {StepKind::do_not_shoot_arrow, StepKind::do_not_draw_bow, StepKind::do_not_shoot_bow}) {
    if (text_in(next, "kind") == rules::word(kind)) {
      judgement.next.kind = kind;
      judgement.next.words = rules::printable(text_in(next, "words"));
      if (judgement.next.words.empty()) {
        judgement.next.words = "Do not shoot: what was judged last forbids it.";
      }
      judgement.next.because = rules::printable(text_in(next, "because"));
    }
  }
  if (!forbids(judgement.next.kind)) {
    judgement.next = being_judged();
  }
  first.json = std::move(document);
}

}  // namespace

tune::Step being_judged() {
  tune::Step step;
  step.words = "One moment: the session is being judged as it is now.";
  step.because =
      "What was said before may no longer hold. A clip that is still being copied, or was cut "
      "short, is waited for: two minutes at most.";
  return step;
}

Board::Board(const std::filesystem::path& folder, const std::string& results, Told told)
    : told_(std::move(told)) {
  // Until the first look: a session of which nothing is read.
  tune::SessionRecord record;
  const session::Plan plan = session::load(folder);
  folder_ = plan.folder;
  record.name = plan.name;
  record.folder = plan.folder.string();
  auto first = published(record, tune::judge_session(record), {});
  if (auto last = judged_before(plan.folder, results)) {
    take_up(*first, std::move(*last));
  }
  now_.published = std::move(first);
}

Snapshot Board::snapshot() const {
  const std::lock_guard<std::mutex> guard(mutex_);
  return now_;
}

void Board::changed() {
  std::uint64_t version = 0;
  {
    const std::lock_guard<std::mutex> guard(mutex_);
    version = ++now_.version;
  }
  told_("change", std::to_string(version));
}

void Board::note_step(const session::SessionEvents::Step& step) {
  const auto now = std::chrono::steady_clock::now();
  {
    const std::lock_guard<std::mutex> guard(mutex_);
    now_.step = step;
    if (now - last_step_ < kBetweenSteps) {
      return;
    }
    last_step_ = now;
  }
  const nlohmann::json data = {{"clip", rules::printable(step.clip)},
                               {"what", step.what},
                               {"share", step.share},
                               {"done", step.done},
                               {"total", step.total}};
  told_("step", data.dump());
}

void Board::note_judged(const desk::JudgedSession& judged) {
  std::shared_ptr<const Published> next;
  if (judged.published) {
    next = published(judged.read.record, judged.judgement, judged.read.messages);
  }
  {
    const std::lock_guard<std::mutex> guard(mutex_);
    now_.step.reset();
    now_.hindered = rules::printable(judged.hindered);
    now_.faults.clear();
    for (const std::string& fault : judged.read.faults) {
      now_.faults.push_back(rules::printable(fault));
    }
    if (next) {
      now_.published = std::move(next);
      now_.fresh.clear();
      now_.done = settled_;
    }
  }
  changed();
}

desk::Voice Board::listen(const desk::Voice& voice) {
  desk::Voice both = voice;
  both.message = [this, say = voice.message](const std::string& line) {
    say(line);
    {
      const std::lock_guard<std::mutex> guard(mutex_);
      now_.messages.push_back(line);
      if (now_.messages.size() > kMostMessages) {
        now_.messages.erase(now_.messages.begin());
      }
    }
    changed();
  };
  both.step = [this, show = voice.step](const session::SessionEvents::Step& step) {
    if (show) {
      show(step);
    }
    note_step(step);
  };
  both.read = [this, tell = voice.read](const std::string& setup, const tune::ClipRecord& clip) {
    if (tell) {
      tell(setup, clip);
    }
    {
      const std::lock_guard<std::mutex> guard(mutex_);
      std::erase_if(now_.fresh, [&](const auto& one) {
        return one.first == setup && one.second.file == clip.file;
      });
      now_.fresh.emplace_back(setup, clip);
    }
    changed();
  };
  return both;
}

desk::WatchEvents Board::listen(const desk::WatchEvents& events) {
  desk::WatchEvents both = events;
  both.looked = [this, looked = events.looked](const std::set<std::filesystem::path>& settled) {
    if (looked) {
      looked(settled);
    }
    bool other = false;
    {
      const std::lock_guard<std::mutex> guard(mutex_);
      other = settled != settled_;
      settled_ = settled;
      std::set<std::filesystem::path> still;
      std::set_intersection(now_.done.begin(), now_.done.end(), settled.begin(), settled.end(),
                            std::inserter(still, still.end()));
      now_.done = std::move(still);
      std::erase_if(now_.fresh, [&](const auto& one) {
        const std::filesystem::path where =
            one.first == "." ? folder_ / one.second.file : folder_ / one.first / one.second.file;
        std::error_code gone;
        return !std::filesystem::exists(where, gone);
      });
    }
    if (other) {
      changed();
    }
  };
  both.judged = [this, tell = events.judged](const desk::JudgedSession& judged) {
    if (tell) {
      tell(judged);
    }
    note_judged(judged);
  };
  return both;
}

}  // namespace nocktrail::serve
