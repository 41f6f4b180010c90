# For a build from nothing. Headers of other libraries that most files read are compiled once for all, and the files of one folder several at a
# time, so that their names may not clash even where each is private to its file. The debug preset does without, so that a file that
# forgets an include is found.
set(files_at_a_time 8)
set(precompiled_source ${CMAKE_BINARY_DIR}/precompiled.cpp)
file(GENERATE OUTPUT ${precompiled_source} CONTENT "")
add_library(lookdown_precompiled STATIC ${precompiled_source})
target_link_libraries(lookdown_precompiled PRIVATE lookdown_warnings lookdown_opencv Eigen3::Eigen)
target_precompile_headers(lookdown_precompiled PRIVATE
  <algorithm> <array> <cmath> <filesystem> <functional> <map> <numeric> <optional> <string> <vector>
  <opencv2/core.hpp> <opencv2/imgproc.hpp> <Eigen/Core> <Eigen/Geometry>)

if(CMAKE_CXX_COMPILER_ID STREQUAL "GNU")
  # GCC 12 takes std::vector<std::string>::push_back("text") for a read out of bounds (GCC bug 105651 again) where the library's headers no
  # longer count as the system's.
  target_compile_options(lookdown_warnings INTERFACE -Wno-array-bounds -Wno-stringop-overread -Wno-stringop-overflow)
  # A file that another one includes is taken for a header, whose types should not hold private ones.
  target_compile_options(lookdown_warnings INTERFACE -Wno-subobject-linkage)
endif()

# Compiles the target's files of one folder together, at most so many at a time: a new file shifts no names but its folder's.
function(compile_by_folder target)
  get_target_property(sources ${target} SOURCES)
  get_target_property(source_folder ${target} SOURCE_DIR)
  foreach(source ${sources})
    cmake_path(GET source PARENT_PATH folder)
    string(MAKE_C_IDENTIFIER "in_${folder}" group)
    math(EXPR number "0${count_${group}}")
    math(EXPR count_${group} "${number} + 1")
    math(EXPR part "${number} / ${files_at_a_time}")
    cmake_path(ABSOLUTE_PATH source BASE_DIRECTORY ${source_folder})
    set_source_files_properties(${source} DIRECTORY ${source_folder} PROPERTIES UNITY_GROUP ${group}_${part})
  endforeach()
  set_target_properties(${target} PROPERTIES UNITY_BUILD ON UNITY_BUILD_MODE GROUP)
endfunction()

function(use_precompiled_below folder)
  get_property(targets DIRECTORY ${folder} PROPERTY BUILDSYSTEM_TARGETS)
  foreach(target ${targets})
    get_target_property(type ${target} TYPE)
    if(type MATCHES "STATIC_LIBRARY|EXECUTABLE")
      get_target_property(options ${target} COMPILE_OPTIONS)
      if(NOT "-O0" IN_LIST options)  # the compiled headers are those of an optimised build
        target_precompile_headers(${target} REUSE_FROM lookdown_precompiled)
        compile_by_folder(${target})
      else()
        set_target_properties(${target} PROPERTIES UNITY_BUILD ON UNITY_BUILD_BATCH_SIZE 0)
      endif()
    endif()
  endforeach()
  get_property(folders DIRECTORY ${folder} PROPERTY SUBDIRECTORIES)
  foreach(below ${folders})
    use_precompiled_below(${below})
  endforeach()
endfunction()

foreach(folder pipeline stages cli sample_frames/renderer tests)
  if(IS_DIRECTORY ${CMAKE_CURRENT_SOURCE_DIR}/${folder})
    use_precompiled_below(${CMAKE_CURRENT_SOURCE_DIR}/${folder})
  endif()
endforeach()
