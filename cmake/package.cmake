# Debian packages by `cpack -G DEB`: lookdown (the program) and lookdown-dev (libraries to build on).
set(CPACK_GENERATOR DEB)
set(CPACK_PACKAGE_NAME lookdown)
set(CPACK_PACKAGE_VENDOR "lookdown maintainers")
set(CPACK_PACKAGE_CONTACT "lookdown maintainers <maintainers@localhost>")
set(CPACK_PACKAGE_DESCRIPTION_SUMMARY "frames from a lifted camera to one straight-down picture")
set(CPACK_PACKAGE_DESCRIPTION
  "Takes the frames of a camera on a kite line, balloon or pole to the sharp ones, levelled, freed of glare and joined into one straight-down
picture at a known scale, with a report of everything that was decided.")
set(CPACK_PACKAGING_INSTALL_PREFIX /usr)
set(CPACK_PACKAGE_DIRECTORY ${CMAKE_BINARY_DIR}/packages)
set(CPACK_COMPONENTS_ALL runtime development)
set(CPACK_COMPONENTS_GROUPING IGNORE)
set(CPACK_STRIP_FILES ON)

set(CPACK_DEB_COMPONENT_INSTALL ON)
set(CPACK_DEBIAN_FILE_NAME DEB-DEFAULT)
set(CPACK_DEBIAN_PACKAGE_SECTION science)
set(CPACK_DEBIAN_RUNTIME_PACKAGE_NAME lookdown)
set(CPACK_DEBIAN_RUNTIME_PACKAGE_SHLIBDEPS ON)
# Lens data are read at run time, which no linking shows.
set(CPACK_DEBIAN_RUNTIME_PACKAGE_DEPENDS liblensfun-data-v1)
set(CPACK_DEBIAN_DEVELOPMENT_PACKAGE_NAME lookdown-dev)
set(CPACK_DEBIAN_DEVELOPMENT_PACKAGE_SECTION libdevel)
# What the exported package looks for; the list of packages to build with says it once.
file(STRINGS .ci/packages.txt build_packages)
list(FILTER build_packages INCLUDE REGEX "^(lib.*-dev|nlohmann-json3-dev|pkg-config)$")
list(FILTER build_packages EXCLUDE REGEX "^lib(cli11|toml11)-dev$")
list(JOIN build_packages ", " CPACK_DEBIAN_DEVELOPMENT_PACKAGE_DEPENDS)
include(CPack)
