#include "nocktrail/session/facts_file.hpp"

namespace nocktrail::session {
namespace {

constexpr const char* kSessionHead =
    R"(# session.toml: what was shot, for `nocktrail session`. Put it into the folder of the clips.
# Every field is optional: what is not told is not guessed, and what you learn later can be added
# later. Quantities are text with their unit: lengths in, ft, yd, mm, cm,
# m (fractions too: "5/16in", "28 1/2in"); masses gr, g; forces lb, N.

# name = "spring set"
# notes = "indoors, soft butt at 8 m"
# hand = "right"                # the hand that draws: "right" or "left"
# cant = 15                     # degrees, upper limb toward the shooter's right positive; 0: upright
# target_distance = "12m"       # arrow rest to the butt's face, within 1 %: with the impact in the
                                # clip and its sound on it narrows up and down
# accept_nock_height = "shoots well" # of one set-up: its nock height is left as it is, and why

)";

constexpr const char* kProfileHead =
    R"(# profile.toml: what is the same whenever you shoot, written once. Every command takes from it what
# a session's own files and the command line leave open, and says so. Every field is optional.
# Quantities are text with their unit: lengths in, ft, yd, mm, cm, m (fractions too: "5/16in",
# "28 1/2in"); masses gr, g; forces lb, N.
# Of a session whose bow has another name, the bow here is left out whole; likewise the arrow, also
# where the session says how long, heavy or stiff its arrow is. Whether an arrow is bare or fletched
# only a session tells.

# hand = "right"                # the hand that draws: "right" or "left"
# cant = 15                     # degrees, upper limb toward the shooter's right positive; without it
                                # the bow in the picture tells
# target_distance = "12m"       # arrow rest to the butt's face, within 1 %

)";

constexpr const char* kParts = R"([bow]
# name = "the yew longbow"
# string = "14 strands"
# string_mass = "115gr"         # weighed, servings and all
# draw_weight = "45lb"          # as marked, at the rated draw
# rated_draw_length = "28in"    # AMO: nocking point to the grip's deepest point, plus 1 3/4 in
# brace_height = "7.25in"       # string to the grip's deepest point
# What the bow's maker allows:
# brace_min = "6.75in"
# brace_max = "7.75in"
# min_grains_per_pound = 8
# max_draw_length = "29in"      # AMO
# max_draw_weight = "50lb"      # held
# Face of the strike plate from the plane of the string: positive outside centre (toward the
# arrow), negative when the window is cut past centre.
# plate_offset = "1/16in"
# Underside of the nocking point above square from the shelf. Start high and come down.
# nocking_point = "5/8in"

[archer]
# draw_length = "28in"          # AMO

[arrow]
# name = "test shaft"
# shaft_length = "31in"         # nock throat to the end of the shaft, point not included
# arrow_length = "31.75in"      # nock throat to the end of the point: narrows every reading
# diameter = "0.30in"
# One of: spine = "0.500in" (ASTM deflection), wood_spine = "50lb" (26 in over the deflection), or
# a tube's youngs_modulus_gpa = 71 with its wall = "0.013in".
# spine = "0.500in"
# One of: mass_per_length = "8.0gr/in", or shaft_mass = "248gr" (shaft alone, at this length).
# mass_per_length = "8.0gr/in"
# nock_mass = "10gr"
# tip_mass = "125gr"            # point and insert together
# total_mass = "383gr"          # the whole arrow, weighed
# taper_length = "9in"          # a tapered tail, and its diameter at the nock
# taper_end_diameter = "0.27in"
)";

constexpr const char* kFletching = R"(# fletching = "bare"            # "bare" or "fletched"
#   of a fletched one: fletching_mass = "12gr"
)";

constexpr const char* kCamera = R"(
[camera]
# How wide a stretch the picture's longer side shows, and from how far: stand the phone square to a
# wall, set as you film (slow motion shows less than other film), and measure.
# picture_width = "2.9m at 2m"
# Or focal_35mm = 26, the 35 mm equivalent of that film, measured: a data sheet's may be 10 % off,
# and nothing told is better than that.
# phone = "mine"                # instead: a name in your phones file (docs/session.md)
# capture_fps = 240             # only if the clips do not say how fast they were filmed
)";

constexpr const char* kSessionFoot = R"(
# To overrule one clip: leave it out with a reason, or say what was different.
# [clip."IMG_0017.mp4"]
# drop = "plucked"               # of its second shot alone: [clip."NAME#2"]
# [clip."2-lower/IMG_0021.mp4"]
# cant = 5

# Set-ups: put the clips of each into a folder of its own, taken in the order of their names
# ("1-start", "2-lower", ...). In each, a file setup.toml names only what changed since the set-up
# before, in the fields above:
#
#   notes = "one turn down"
#   [bow]
#   nocking_point = "9/16in"
)";

}  // namespace

std::string session_template() {
  return std::string(kSessionHead) + kParts + kFletching + kCamera + kSessionFoot;
}

std::string profile_template() {
  return std::string(kProfileHead) + kParts + kCamera;
}

}  // namespace nocktrail::session
