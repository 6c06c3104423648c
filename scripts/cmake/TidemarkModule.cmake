# tidemark_module(NAME [DEPENDS module...] [PRIVATE lib...] [PUBLIC lib...])
#
# Builds modules/NAME into Tidemark::NAME: sources in src/, public headers in include/, tests in
# tests/NAME/*_test.cpp (one executable a module). Modules are added in the order of modules/LAYERS,
# so a dependency that does not exist yet is one that points up.
function(tidemark_module name)
  cmake_parse_arguments(arg "" "" "DEPENDS;PRIVATE;PUBLIC;TEST_LIBS" ${ARGN})
  foreach(lower IN LISTS arg_DEPENDS)
    if(NOT TARGET Tidemark::${lower})
      message(FATAL_ERROR "${name} may not use ${lower}: it is not below it in modules/LAYERS")
    endif()
  endforeach()
  file(GLOB_RECURSE sources CONFIGURE_DEPENDS src/*.cpp)
  file(GLOB_RECURSE headers CONFIGURE_DEPENDS include/*.h)
  set(target tidemark_${name})
  add_library(${target} STATIC ${sources})
  add_library(Tidemark::${name} ALIAS ${target})
  set_target_properties(${target} PROPERTIES EXPORT_NAME ${name})
  target_sources(${target} PUBLIC FILE_SET HEADERS BASE_DIRS include FILES ${headers})
  target_compile_features(${target} PUBLIC cxx_std_20)
  list(TRANSFORM arg_DEPENDS PREPEND Tidemark::)
  target_link_libraries(${target} PUBLIC ${arg_DEPENDS} ${arg_PUBLIC}
                                  PRIVATE ${arg_PRIVATE} $<BUILD_INTERFACE:tidemark_warnings>)
  install(TARGETS ${target} EXPORT TidemarkTargets FILE_SET HEADERS)
  file(GLOB tests CONFIGURE_DEPENDS ${Tidemark_SOURCE_DIR}/tests/${name}/*_test.cpp)
  if(BUILD_TESTING AND tests)
    add_executable(${name}_tests ${tests})
    target_link_libraries(${name}_tests PRIVATE Tidemark::${name} ${arg_TEST_LIBS} tidemark_warnings
                                                tidemark_testdata GTest::gmock GTest::gtest_main)
    target_include_directories(${name}_tests PRIVATE ${Tidemark_SOURCE_DIR}/tests)
    gtest_discover_tests(${name}_tests TEST_PREFIX "${name}/" PROPERTIES LABELS ${name}
                         DISCOVERY_TIMEOUT 60)
  endif()
endfunction()
