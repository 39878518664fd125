// Opening a file as a container, with every way it can fail turned into one clear line.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <string_view>

#include "libav.hpp"

namespace nocktrail::media {

// The file's name for a one-line message: control characters replaced, so that a name with a line
// break in it still gives one line.
std::string printable(const std::filesystem::path& path);

// Throws UnreadableClip unless the path is a regular file with something in it that may be read.
void require_readable_file(const std::filesystem::path& path);

// Opens a local video container and reads its headers. Only known video containers are opened:
// play lists and the like could make the library follow references to other files.
// Throws UnreadableClip.
Libav<AVFormatContext> open_headers(const std::filesystem::path& path);

// The same, and as much of the tracks as it takes to know them.
Libav<AVFormatContext> open_container(const std::filesystem::path& path);

// Index of the track to measure: no cover picture, no thumbnail track, no few-frame still track;
// among what remains the default one, then the largest. Throws UnreadableClip when there is none.
int choose_video_stream(const AVFormatContext& format, const std::filesystem::path& path);

// A number kept as text in the metadata of the track or, failing that, of the file.
std::optional<double> number_tag(const AVFormatContext& format, int stream, const char* key);

// Opens a decoder for the stream; nullptr when there is none or it refuses the parameters.
// `fast` allows shortcuts that cost picture quality.
Libav<AVCodecContext> open_decoder(const AVStream& stream, int threads, int max_side_px, bool fast);

}  // namespace nocktrail::media
