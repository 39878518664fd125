# Everything comes from Debian 12; docs/dependencies.md says why each is here.
find_package(OpenCV 4.6 REQUIRED COMPONENTS core imgproc imgcodecs video calib3d)
find_package(Eigen3 3.4 REQUIRED NO_MODULE)
find_package(Ceres 2.1 REQUIRED)
find_package(fmt 9 REQUIRED)
find_package(nlohmann_json 3.11 REQUIRED)
find_package(CLI11 2.1 REQUIRED)
find_package(tomlplusplus 3.3 REQUIRED)
find_package(Boost 1.74 REQUIRED)
find_package(Threads REQUIRED)
find_package(PkgConfig REQUIRED)
pkg_check_modules(libav REQUIRED IMPORTED_TARGET
  libavformat libavcodec libavutil libswscale libswresample)
pkg_check_modules(cairo REQUIRED IMPORTED_TARGET cairo)
