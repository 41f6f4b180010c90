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

set(stages inspect cull level rectify glare place mosaic report plan measure)
list(TRANSFORM stages PREPEND stage_ OUTPUT_VARIABLE stage_targets)
install(TARGETS pipeline ${stage_targets} assemble_run lookdown_opencv lookdown_warnings
  EXPORT lookdown
  ARCHIVE DESTINATION ${CMAKE_INSTALL_LIBDIR}/lookdown COMPONENT development)

# Of pipeline/ everything but the decoders behind the frame reader; of a stage its public face.
file(GLOB pipeline_headers CONFIGURE_DEPENDS pipeline/*.h)
list(FILTER pipeline_headers EXCLUDE REGEX "(_decode|/colour|/json_fields)\\.h$")
set(headers ${CMAKE_INSTALL_INCLUDEDIR}/lookdown)
install(FILES ${pipeline_headers} DESTINATION ${headers}/pipeline COMPONENT development)
install(FILES stages/assemble_run.h DESTINATION ${headers}/stages COMPONENT development)
foreach(stage ${stages})
  install(FILES stages/${stage}/${stage}.h DESTINATION ${headers}/stages/${stage} COMPONENT development)
endforeach()
install(FILES stages/glare/sun_and_water.h DESTINATION ${headers}/stages/glare COMPONENT development)
install(FILES stages/measure/align.h DESTINATION ${headers}/stages/measure COMPONENT development)

set(package ${CMAKE_INSTALL_LIBDIR}/cmake/lookdown)
install(EXPORT lookdown NAMESPACE lookdown:: FILE lookdownTargets.cmake DESTINATION ${package} COMPONENT development)
configure_package_config_file(cmake/lookdownConfig.cmake.in ${CMAKE_BINARY_DIR}/lookdownConfig.cmake INSTALL_DESTINATION ${package})
write_basic_package_version_file(${CMAKE_BINARY_DIR}/lookdownConfigVersion.cmake COMPATIBILITY SameMinorVersion)
install(FILES ${CMAKE_BINARY_DIR}/lookdownConfig.cmake ${CMAKE_BINARY_DIR}/lookdownConfigVersion.cmake DESTINATION ${package}
  COMPONENT development)
