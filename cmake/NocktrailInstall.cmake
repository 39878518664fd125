include(CMakePackageConfigHelpers)

install(TARGETS nocktrail EXPORT nocktrailTargets
  ARCHIVE DESTINATION ${CMAKE_INSTALL_LIBDIR}
  LIBRARY DESTINATION ${CMAKE_INSTALL_LIBDIR}
  FILE_SET HEADERS)
install(TARGETS nocktrail_program RUNTIME)
install(EXPORT nocktrailTargets NAMESPACE nocktrail::
  DESTINATION ${CMAKE_INSTALL_LIBDIR}/cmake/nocktrail)
configure_package_config_file(cmake/nocktrailConfig.cmake.in
  ${CMAKE_CURRENT_BINARY_DIR}/nocktrailConfig.cmake
  INSTALL_DESTINATION ${CMAKE_INSTALL_LIBDIR}/cmake/nocktrail)
write_basic_package_version_file(${CMAKE_CURRENT_BINARY_DIR}/nocktrailConfigVersion.cmake
  COMPATIBILITY SameMinorVersion)
install(FILES
  ${CMAKE_CURRENT_BINARY_DIR}/nocktrailConfig.cmake
  ${CMAKE_CURRENT_BINARY_DIR}/nocktrailConfigVersion.cmake
  cmake/NocktrailDependencies.cmake
  DESTINATION ${CMAKE_INSTALL_LIBDIR}/cmake/nocktrail)
