// PNG and JPEG against OpenCV's reader and writer of them, and files that are not what they say.
#include <doctest/doctest.h>

#include <filesystem>
#include <fstream>
#include <opencv2/imgcodecs.hpp>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "nocktrail/media/image_file.hpp"
#include "support.hpp"

using namespace nocktrail;
namespace fs = std::filesystem;

namespace {

cv::Mat patterned(int type) {
  cv::Mat picture(37, 53, type);
  cv::randu(picture, cv::Scalar::all(0), cv::Scalar::all(255));
  return picture;
}

std::vector<unsigned char> as_bytes(const std::string& text) {
  return {text.begin(), text.end()};
}

struct File {
  fs::path path = fs::temp_directory_path() / "nocktrail-image-file-test.png";
  explicit File(const std::string& content) { std::ofstream(path, std::ios::binary) << content; }
  ~File() { fs::remove(path); }
};

}  // namespace

TEST_CASE("reference: OpenCV reads the same picture out of a PNG, colour and grey") {
  for (const int type : {CV_8UC3, CV_8UC1}) {
    const cv::Mat whole = patterned(type);
    for (const cv::Mat& picture : {whole, whole(cv::Rect(3, 5, 20, 11))}) {  // rows apart, too
      const cv::Mat back = cv::imdecode(as_bytes(media::png_bytes(picture)), cv::IMREAD_UNCHANGED);
      REQUIRE(back.type() == type);
      CHECK(cv::norm(back, picture, cv::NORM_INF) == 0.0);
    }
  }
}

TEST_CASE("reference: a PNG written by OpenCV is read as it was; what is transparent is white") {
  const cv::Mat picture = patterned(CV_8UC3);
  std::vector<unsigned char> bytes;
  REQUIRE(cv::imencode(".png", picture, bytes));
  const File file(std::string(bytes.begin(), bytes.end()));
  CHECK(cv::norm(media::read_png(file.path), picture, cv::NORM_INF) == 0.0);
  REQUIRE(cv::imencode(".png", cv::Mat(9, 7, CV_8UC4, cv::Scalar(10, 20, 30, 0)), bytes));
  const File clear(std::string(bytes.begin(), bytes.end()));
  const cv::Mat white = media::read_png(clear.path);
  REQUIRE(white.size() == cv::Size(7, 9));
  CHECK(cv::norm(white, cv::Mat(9, 7, CV_8UC3, cv::Scalar::all(255)), cv::NORM_INF) == 0.0);
}

TEST_CASE("reference: OpenCV sees in a JPEG nearly what was put in") {
  cv::Mat picture(64, 96, CV_8UC3);
  for (int y = 0; y < picture.rows; ++y) {
    for (int x = 0; x < picture.cols; ++x) {
      picture.at<cv::Vec3b>(y, x) =
          cv::Vec3b(static_cast<unsigned char>(2 * x), static_cast<unsigned char>(3 * y), 90);
    }
  }
  const cv::Mat back = cv::imdecode(as_bytes(media::jpeg_bytes(picture, 90)), cv::IMREAD_COLOR);
  REQUIRE(back.size() == picture.size());
  CHECK(cv::norm(back, picture, cv::NORM_L1) / static_cast<double>(3 * picture.total()) < 3.0);
}

TEST_CASE("fault: a file that is no PNG, or half of one, is no picture; odd pictures are refused") {
  CHECK(media::read_png("/nowhere/at/all.png").empty());
  CHECK(media::read_png(fs::temp_directory_path()).empty());
  CHECK(media::read_png(File("not a picture").path).empty());
  const std::string png = media::png_bytes(patterned(CV_8UC3));
  const File half(png.substr(0, png.size() / 2));
  CHECK(media::read_png(half.path).empty());
  std::string huge = png;
  huge.replace(16, 8, std::string("\x00\x00\x7f\xff\x00\x00\x7f\xff", 8));  // width and height
  const File damaged(huge);
  CHECK(media::read_png(damaged.path).empty());
  CHECK_THROWS(media::png_bytes(patterned(CV_8UC4)));
  CHECK_THROWS(media::jpeg_bytes(patterned(CV_8UC1), 80));
}
