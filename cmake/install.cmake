# What `cmake --install` lays down. Component `runtime`: the program with its manual page, completions and licences; component
# `development`: libraries, headers and the CMake package `lookdown` for programs of one's own.
include(GNUInstallDirs)
include(CMakePackageConfigHelpers)

install(TARGETS lookdown RUNTIME DESTINATION ${CMAKE_INSTALL_BINDIR} COMPONENT runtime)
install(FILES ${CMAKE_BINARY_DIR}/share/lookdown.1 DESTINATION ${CMAKE_INSTALL_MANDIR}/man1 COMPONENT runtime)
install(FILES ${CMAKE_BINARY_DIR}/share/lookdown.bash DESTINATION ${CMAKE_INSTALL_DATADIR}/bash-completion/completions RENAME lookdown
  COMPONENT runtime)
install(FILES ${CMAKE_BINARY_DIR}/share/_lookdown DESTINATION ${CMAKE_INSTALL_DATADIR}/zsh/vendor-completions COMPONENT runtime)
install(FILES ${CMAKE_BINARY_DIR}/share/lookdown.fish DESTINATION ${CMAKE_INSTALL_DATADIR}/fish/vendor_completions.d COMPONENT runtime)
install(FILES README.md THIRD_PARTY.md packaging/copyright DESTINATION ${CMAKE_INSTALL_DATADIR}/doc/lookdown COMPONENT runtime)

set(stages inspect cull level rectify glare place surface mosaic report plan measure)
set(libraries base geometry imaging record)
list(TRANSFORM stages PREPEND stage_ OUTPUT_VARIABLE stage_targets)
list(TRANSFORM libraries PREPEND pipeline_ OUTPUT_VARIABLE library_targets)
install(TARGETS pipeline ${library_targets} ${stage_targets} assemble_run lookdown_opencv lookdown_warnings
  EXPORT lookdown
  ARCHIVE DESTINATION ${CMAKE_INSTALL_LIBDIR}/lookdown COMPONENT development)

# Of pipeline/ everything but the decoders behind the frame reader; of a stage its public face.
set(headers ${CMAKE_INSTALL_INCLUDEDIR}/lookdown)
foreach(library ${libraries})
  install(DIRECTORY pipeline/${library} DESTINATION ${headers}/pipeline COMPONENT development
    FILES_MATCHING PATTERN "*.h"
    PATTERN formats EXCLUDE PATTERN partial_jpeg EXCLUDE PATTERN colour.h EXCLUDE PATTERN json_fields.h EXCLUDE)
endforeach()
install(FILES stages/run/assemble_run.h stages/run/flight_options.h DESTINATION ${headers}/stages/run COMPONENT development)
foreach(stage ${stages})
  install(FILES stages/${stage}/${stage}.h DESTINATION ${headers}/stages/${stage} COMPONENT development)
endforeach()

set(package ${CMAKE_INSTALL_LIBDIR}/cmake/lookdown)
install(EXPORT lookdown NAMESPACE lookdown:: FILE lookdownTargets.cmake DESTINATION ${package} COMPONENT development)
configure_package_config_file(cmake/lookdownConfig.cmake.in ${CMAKE_BINARY_DIR}/lookdownConfig.cmake INSTALL_DESTINATION ${package})
write_basic_package_version_file(${CMAKE_BINARY_DIR}/lookdownConfigVersion.cmake COMPATIBILITY SameMinorVersion)
install(FILES ${CMAKE_BINARY_DIR}/lookdownConfig.cmake ${CMAKE_BINARY_DIR}/lookdownConfigVersion.cmake DESTINATION ${package}
  COMPONENT development)
