#include "nocktrail/units/units.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cmath>
#include <optional>
#include <span>
#include <string>
#include <utility>

#include "nocktrail/error.hpp"

namespace nocktrail::units {
namespace {

struct Unit {
  std::string_view name;
  double si_per_unit;
};

// The first unit of each list is the one that archers use; what stands last is only read.
constexpr Unit kLengths[] = {
    {"in", kMetresPerInch},
    {"mm", 1e-3},
    {"cm", 1e-2},
    {"m", 1.0},
    {"ft", kMetresPerFoot},
    {"yd", 3.0 * kMetresPerFoot},
    {"yard", 3.0 * kMetresPerFoot},
    {"yards", 3.0 * kMetresPerFoot},
    {"yds", 3.0 * kMetresPerFoot},
    {"foot", kMetresPerFoot},
    {"feet", kMetresPerFoot},
    {"metre", 1.0},
    {"metres", 1.0},
    {"meter", 1.0},
    {"meters", 1.0},
    {"inch", kMetresPerInch},
    {"inches", kMetresPerInch},
    {"\"", kMetresPerInch},
    {"\xe2\x80\xb3", kMetresPerInch},
    {"''", kMetresPerInch},
    {"\xe2\x80\x9c", kMetresPerInch},  // what phones make of it after a blank
    {"\xe2\x80\x9d", kMetresPerInch}};
constexpr Unit kMasses[] = {{"gr", kKilogramsPerGrain},
                            {"g", 1e-3},
                            {"kg", 1.0},
                            {"grain", kKilogramsPerGrain},
                            {"grains", kKilogramsPerGrain}};
constexpr Unit kForces[] = {{"lb", kNewtonsPerPoundForce},    {"N", 1.0},
                            {"lbs", kNewtonsPerPoundForce},   {"#", kNewtonsPerPoundForce},
                            {"pound", kNewtonsPerPoundForce}, {"pounds", kNewtonsPerPoundForce},
                            {"kg", kStandardGravity}};
constexpr Unit kAngles[] = {{"", 1.0}, {"deg", 1.0}, {"degrees", 1.0}, {"\xc2\xb0", 1.0}};
constexpr Unit kSpeeds[] = {{"fps", kMetresPerFoot}, {"ft/s", kMetresPerFoot}, {"m/s", 1.0}};
constexpr Unit kLineDensities[] = {{"gr/in", kKilogramsPerGrain / kMetresPerInch},
                                   {"g/m", 1e-3},
                                   {"gpi", kKilogramsPerGrain / kMetresPerInch}};

std::string_view trimmed(std::string_view text) {
  const auto first = text.find_first_not_of(" \t");
  if (first == std::string_view::npos) {
    return {};
  }
  return text.substr(first, text.find_last_not_of(" \t") - first + 1);
}

// Takes a number off the front of `text`; nothing when there is none.
std::optional<double> take_number(std::string_view& text) {
  double number = 0.0;
  const auto parsed = std::from_chars(text.data(), text.data() + text.size(), number);
  if (parsed.ec != std::errc{} || !std::isfinite(number)) {
    return std::nullopt;
  }
  const auto whole = text.substr(0, static_cast<std::size_t>(parsed.ptr - text.data()));
  text.remove_prefix(whole.size());
  // A decimal comma. Three digits after it may as well be thousands: that is not guessed at.
  if (text.starts_with(',') && whole.find_first_of(".eE") == std::string_view::npos) {
    const std::string_view rest = text.substr(1);
    const std::size_t digits = std::min(rest.find_first_not_of("0123456789"), rest.size());
    double share = 0.0;
    if (digits > 0 && digits != 3 &&
        std::from_chars(rest.data(), rest.data() + digits, share).ec == std::errc{}) {
      text.remove_prefix(1 + digits);
      share /= std::pow(10.0, static_cast<double>(digits));
      return whole.starts_with('-') ? number - share : number + share;
    }
  }
  return number;
}

// Takes "/16" off the front of `text`, as the divisor of the number before it. A unit such as
// "/s" is not one.
std::optional<double> take_divisor(std::string_view& text) {
  std::string_view rest = text;
  if (!rest.starts_with('/')) {
    return std::nullopt;
  }
  rest.remove_prefix(1);
  const std::optional<double> divisor = take_number(rest);
  if (divisor && *divisor > 0.0 && *divisor == std::floor(*divisor)) {
    text = rest;
    return divisor;
  }
  return std::nullopt;
}

// "28", "5/16", "28 1/2" off the front of `text`. Not "1.1/2": it may be meant as 1 1/2.
std::optional<double> take_mixed_number(std::string_view& text) {
  const std::optional<double> first = take_number(text);
  if (!first) {
    return std::nullopt;
  }
  if (const auto divisor = take_divisor(text)) {
    return *first == std::floor(*first) ? std::optional(*first / *divisor) : std::nullopt;
  }
  std::string_view rest = trimmed(text);
  if (const auto second = take_number(rest)) {
    if (const auto divisor = take_divisor(rest)) {
      if (*first != std::floor(*first) || *second != std::floor(*second)) {
        return std::nullopt;
      }
      text = rest;
      return *first + std::copysign(*second / *divisor, *first);
    }
  }
  return first;
}

// What phones put in for what people type: fractions of one character, another minus, blanks that
// do not break.
std::string plain(std::string_view text) {
  constexpr std::pair<std::string_view, std::string_view> kTyped[] = {
      {"\xc2\xbd", " 1/2"},     {"\xc2\xbc", " 1/4"},     {"\xc2\xbe", " 3/4"},
      {"\xe2\x85\x9b", " 1/8"}, {"\xe2\x85\x9c", " 3/8"}, {"\xe2\x85\x9d", " 5/8"},
      {"\xe2\x85\x9e", " 7/8"}, {"\xe2\x81\x84", "/"},    {"\xe2\x88\x92", "-"},
      {"\xc2\xa0", " "},        {"\xe2\x80\xaf", " "}};
  std::string out(text);
  for (const auto& [typed, meant] : kTyped) {
    for (std::size_t at = out.find(typed); at != std::string::npos; at = out.find(typed)) {
      out.replace(at, typed.size(), meant);
    }
  }
  return out;
}

// Units in capitals, or with a full stop, are the same units.
bool same_unit(std::string_view unit, std::string_view typed) {
  if (typed.size() > 1 && typed.back() == '.') {
    typed.remove_suffix(1);
  }
  if (unit.size() == 1) {
    return unit == typed;  // "G" may be grains as well as grams
  }
  return std::equal(unit.begin(), unit.end(), typed.begin(), typed.end(), [](char a, char b) {
    const auto lower = [](char c) {
      return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
    };
    return lower(a) == lower(b);
  });
}

double parse(std::string_view text, std::string_view field, std::span<const Unit> units,
             std::string_view kind, std::string_view example) {
  const std::string typed = plain(text);
  std::string_view body = trimmed(typed);
  const std::optional<double> number = take_mixed_number(body);
  body = trimmed(body);
  if (number) {
    for (const Unit& unit : units) {
      if (same_unit(unit.name, body)) {
        return *number * unit.si_per_unit;
      }
    }
  }
  const std::string_view cause = !number                 ? ""
                                 : body.empty()          ? " (the unit is missing)"
                                 : body.starts_with(',') ? " (write a point before decimals)"
                                                         : "";
  throw BadInput(
      fmt::format("{}: cannot read \"{}\" as a{} {}{}; write a number and a unit, for example {}",
                  field, text, kind.starts_with('a') ? "n" : "", kind, cause, example));
}

std::string format(double value_si, const Unit& unit, int digits) {
  return fmt::format("{:.{}g}{}", value_si / unit.si_per_unit, digits, unit.name);
}

}  // namespace

double parse_length_m(std::string_view text, std::string_view field) {
  return parse(text, field, kLengths, "length", "30in, 762mm or 0.762m");
}

double parse_picture_width(std::string_view as_typed, std::string_view field) {
  std::string text = plain(as_typed);
  std::transform(text.begin(), text.end(), text.begin(), [](char c) {
    return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c;
  });
  for (const std::string_view between : {" at ", " from ", "@"}) {
    const std::size_t at = text.find(between);
    if (at == std::string::npos) {
      continue;
    }
    const std::string_view typed = text;
    const double width_m = parse_length_m(typed.substr(0, at), field);
    const double distance_m = parse_length_m(typed.substr(at + between.size()), field);
    if (!(width_m > 0.0 && distance_m > 0.0)) {
      continue;
    }
    // From a wide angle to a main lens that slow motion crops; the two exchanged lie below.
    constexpr double kLeast = 0.95;
    constexpr double kMost = 3.0;
    const double ratio = width_m / distance_m;
    if (ratio >= kLeast && ratio <= kMost) {
      return ratio;
    }
    constexpr double kFocalAtOne_mm = 37.71;  // of 16:9, where it shows as much as it is far
    throw BadInput(fmt::format(
        "{}: \"{}\" is {:.2g} times as wide as it is far, and phones show 1 to 3 times; "
        "are the two exchanged? If not, tell it as a focal length of {:.1f} mm (35 mm "
        "equivalent)",
        field, as_typed, ratio, kFocalAtOne_mm / ratio));
  }
  throw BadInput(fmt::format(
      "{}: cannot read \"{}\"; write how wide a stretch the picture shows and from how far, for "
      "example 2.9m at 2m",
      field, as_typed));
}

double parse_deflection_m(std::string_view text, std::string_view field) {
  const std::string_view body = trimmed(text);
  int thousandths = 0;
  const auto [end, error] = std::from_chars(body.data(), body.data() + body.size(), thousandths);
  const bool plain = error == std::errc{} && end == body.data() + body.size();
  constexpr int kLeast = 150;
  constexpr int kMost = 2000;
  return plain && thousandths >= kLeast && thousandths <= kMost
             ? 1e-3 * thousandths * kMetresPerInch
             : parse(text, field, kLengths, "spine", "0.500in, or 500 as shafts are marked");
}

double parse_angle_deg(std::string_view text, std::string_view field) {
  return parse(text, field, kAngles, "angle", "15 or 15deg");
}

double parse_mass_kg(std::string_view text, std::string_view field) {
  return parse(text, field, kMasses, "mass", "125gr or 8.1g");
}

double parse_force_n(std::string_view text, std::string_view field) {
  return parse(text, field, kForces, "force", "45lb or 200N");
}

double parse_draw_weight_n(std::string_view text, std::string_view field) {
  constexpr double kFewest_n = 100.0;
  const double force_n = parse_force_n(text, field);
  const std::string typed = plain(text);
  std::string_view unit = trimmed(typed);
  const std::optional<double> number = take_mixed_number(unit);
  if (number && same_unit("N", trimmed(unit)) && force_n < kFewest_n) {
    throw BadInput(fmt::format(
        "{}: {:g}N is {:.1f}lb, less than nearly any bow draws; write it in pounds, {:g}lb or "
        "{:.1f}lb, whichever it is",
        field, *number, force_n / kNewtonsPerPoundForce, *number, force_n / kNewtonsPerPoundForce));
  }
  return force_n;
}

double parse_speed_mps(std::string_view text, std::string_view field) {
  return parse(text, field, kSpeeds, "speed", "178fps or 54.2m/s");
}

double parse_mass_per_length_kg_per_m(std::string_view text, std::string_view field) {
  return parse(text, field, kLineDensities, "mass per length", "8.0gr/in or 20.4g/m");
}

std::string format_length(double length_m, LengthUnit unit, int digits) {
  return format(length_m, kLengths[static_cast<int>(unit)], digits);
}

std::string format_mass(double mass_kg, MassUnit unit, int digits) {
  return format(mass_kg, kMasses[static_cast<int>(unit)], digits);
}

std::string format_force(double force_n, ForceUnit unit, int digits) {
  return format(force_n, kForces[static_cast<int>(unit)], digits);
}

std::string format_speed(double speed_mps, SpeedUnit unit, int digits) {
  return format(speed_mps, unit == SpeedUnit::fps ? kSpeeds[0] : kSpeeds[2], digits);
}

std::string format_mass_per_length(double kg_per_m, MassPerLengthUnit unit, int digits) {
  return format(kg_per_m, kLineDensities[static_cast<int>(unit)], digits);
}

}  // namespace nocktrail::units
