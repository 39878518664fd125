include(CMakePackageConfigHelpers)

# For those who shoot: the program, its manual, and what shells complete.
install(TARGETS nocktrail_program RUNTIME COMPONENT program)
get_property(pages GLOBAL PROPERTY NOCKTRAIL_MANUAL_PAGES)
get_property(completions GLOBAL PROPERTY NOCKTRAIL_COMPLETIONS)
install(FILES ${pages} DESTINATION ${CMAKE_INSTALL_MANDIR}/man1 COMPONENT program)
install(FILES ${completions}/nocktrail.bash RENAME nocktrail
  DESTINATION ${CMAKE_INSTALL_DATADIR}/bash-completion/completions COMPONENT program)
install(FILES ${completions}/_nocktrail
  DESTINATION ${CMAKE_INSTALL_DATADIR}/zsh/vendor-completions COMPONENT program)
# And for those who start it from the desktop's menu.
install(PROGRAMS src/cli/menu/nocktrail-line DESTINATION ${CMAKE_INSTALL_BINDIR} COMPONENT program)
install(FILES src/cli/menu/nocktrail.desktop
  DESTINATION ${CMAKE_INSTALL_DATADIR}/applications COMPONENT program)
install(FILES src/cli/menu/nocktrail.svg
  DESTINATION ${CMAKE_INSTALL_DATADIR}/icons/hicolor/scalable/apps COMPONENT program)
install(FILES LICENSE RENAME copyright DESTINATION ${CMAKE_INSTALL_DOCDIR} COMPONENT program)
install(FILES README.md DESTINATION ${CMAKE_INSTALL_DOCDIR} COMPONENT program)
install(DIRECTORY docs DESTINATION ${CMAKE_INSTALL_DOCDIR} COMPONENT program)

# For those who build on it: the library, found by find_package(nocktrail).
install(TARGETS nocktrail EXPORT nocktrailTargets
  ARCHIVE DESTINATION ${CMAKE_INSTALL_LIBDIR} COMPONENT development
  LIBRARY DESTINATION ${CMAKE_INSTALL_LIBDIR} COMPONENT development
  FILE_SET HEADERS COMPONENT development)
install(EXPORT nocktrailTargets NAMESPACE nocktrail:: COMPONENT development
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
  DESTINATION ${CMAKE_INSTALL_LIBDIR}/cmake/nocktrail COMPONENT development)

# A Debian package of the program alone (tools/package.sh).
set(CPACK_GENERATOR DEB)
set(CPACK_PACKAGING_INSTALL_PREFIX /usr)
set(CPACK_PACKAGE_CONTACT "The nocktrail project <nocktrail@localhost>")
set(CPACK_PACKAGE_DESCRIPTION_SUMMARY "Reads how an arrow leaves the bow from a slow-motion clip")
set(CPACK_STRIP_FILES ON)
set(CPACK_COMPONENTS_ALL program)
set(CPACK_COMPONENTS_GROUPING ALL_COMPONENTS_IN_ONE)
set(CPACK_DEB_COMPONENT_INSTALL ON)
set(CPACK_DEBIAN_FILE_NAME DEB-DEFAULT)
set(CPACK_DEBIAN_PACKAGE_NAME nocktrail)
set(CPACK_DEBIAN_PROGRAM_PACKAGE_NAME nocktrail)
set(CPACK_DEBIAN_PACKAGE_SECTION video)
set(CPACK_DEBIAN_PACKAGE_SHLIBDEPS ON)
set(CPACK_DEBIAN_PACKAGE_DEPENDS fonts-dejavu-core)  # the words on a still
set(CPACK_DEBIAN_PACKAGE_RECOMMENDS "xdg-utils, xdg-user-dirs")  # the menu's entry
set(CPACK_DEBIAN_PACKAGE_DESCRIPTION
  "nocktrail measures, from a clip filmed from behind the archer, to which side and by how much
 the nock of an arrow trails as it leaves the bow, with an honest interval, and says what to
 try next: for archers and bowyers who match arrows to traditional bows.")
include(CPack)
