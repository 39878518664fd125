#include "nocktrail/session/facts_form.hpp"

#include <algorithm>
#include <array>
#include <utility>

#include "facts_places.hpp"
#include "hand_file.hpp"

namespace nocktrail::session {
namespace {

using form::File;
using form::path_of;
using form::Place;
using form::value_of;

// What a file says of a field, and what of it holds for those after it.
struct Layer {
  std::string where;  // "the session"
  units::TomlTable table;
};

// The profile and the files up to the one at `last`, in the order in which they are laid over one
// another.
std::vector<Layer> layers_to(const std::vector<File>& files, std::size_t last,
                             const ArcherFiles& archer) {
  std::vector<Layer> layers;
  if (!archer.profile.empty()) {
    layers.push_back({"your profile", units::TomlTable::parse(hand_text(archer.profile),
                                                              form::shown(archer.profile))});
  }
  for (std::size_t k = 0; k <= last; ++k) {
    layers.push_back({files[k].setup == "." ? "the session" : files[k].setup,
                      units::TomlTable::parse(files[k].text, files[k].shown)});
  }
  return layers;
}

// Whether a layer tells of the picture's width by another field than this one.
bool told_by_another(const Layer& layer, const std::string& field) {
  constexpr std::array<const char*, 3> kWidth{"camera.picture_width", "camera.focal_35mm",
                                              "camera.phone"};
  return std::find(kWidth.begin(), kWidth.end(), field) != kWidth.end() &&
         value_of(layer.table, path_of(field)).empty() &&
         std::any_of(kWidth.begin(), kWidth.end(), [&](const char* other) {
           return !value_of(layer.table, path_of(other)).empty();
         });
}

// What holds of `field` where nothing after the first `count` layers says anything of it.
void add_before(const std::vector<Layer>& layers, std::size_t count, const std::string& field,
                FactStands& stands) {
  for (std::size_t k = count; k-- > 0 && stands.before.empty();) {
    // Nothing of a bow holds beyond the file that named another one.
    if (field.starts_with("bow.") && field != "bow.name" && k + 1 < layers.size() &&
        !value_of(layers[k + 1].table, path_of("bow.name")).empty()) {
      break;
    }
    if (told_by_another(layers[k], field)) {
      break;
    }
    stands.before = value_of(layers[k].table, path_of(field));
    stands.where = stands.before.empty() ? std::string() : layers[k].where;
  }
}

FactStands setup_stands(const std::vector<Layer>& layers, const std::string& field) {
  FactStands stands;
  stands.value = value_of(layers.back().table, path_of(field));
  // These are of one set-up alone.
  if (field != "notes" && field != "accept_nock_height") {
    add_before(layers, layers.size() - 1, field, stands);
  }
  return stands;
}

FactStands clip_stands(const std::vector<File>& files, const std::vector<Place>& places,
                       const Place& place, const std::vector<Layer>& layers,
                       const std::string& field) {
  const auto told_in = [&](const Place& one) {
    return value_of(units::TomlTable::parse(files[one.file].text, files[one.file].shown),
                    path_of(field, one.clip));
  };
  FactStands stands;
  stands.value = told_in(place);
  for (const Place& other : places) {
    if (stands.before.empty() && (other.file != place.file || other.clip != place.clip)) {
      stands.before = told_in(other);
      stands.where = stands.before.empty() ? std::string() : layers[other.file].where;
    }
  }
  if (stands.before.empty()) {
    const bool camera = field == "focal_35mm" || field == "picture_width" || field == "capture_fps";
    add_before(layers, layers.size(), camera ? "camera." + field : field, stands);
    FactStands phone;
    add_before(layers, layers.size(), "camera.phone", phone);
    if (field == "focal_35mm" && stands.before.empty() && !phone.before.empty()) {
      stands = {stands.value, "as of the phone " + phone.before, phone.where};
    }
  }
  return stands;
}

}  // namespace

std::optional<FactsForm> facts_form(const std::filesystem::path& folder, const ArcherFiles& archer,
                                    const std::string& setup, const std::string& clip) {
  const std::optional<form::Wanted> of = form::wanted(folder, archer, setup, clip);
  if (!of) {
    return std::nullopt;
  }
  FactsForm made;
  made.setup = setup;
  made.clip = clip;
  const File& own = of->files[of->place.file];
  made.file = form::name_of(own);
  for (const File& file : of->files) {
    made.setups.push_back(file.setup);
  }
  const std::vector<Layer> layers = layers_to(of->files, of->own, archer);
  for (const FactField& field : of->place.fields()) {
    made.stands.push_back(clip.empty()
                              ? setup_stands(layers, field.field)
                              : clip_stands(of->files, of->places, of->place, layers, field.field));
  }
  if (const std::optional<form::Found> found = form::fault_of(of->files, archer);
      found && found->setup == own.setup) {
    made.fault = found->words;
    if (made.fault.starts_with(own.shown)) {
      made.fault.replace(0, own.shown.size(), made.file);
    }
  }
  return made;
}

}  // namespace nocktrail::session
