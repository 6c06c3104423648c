# A Debian package of the command line and the window, without libraries and headers:
#   cpack --config build/release/CPackConfig.cmake -B build/release/package
set(CPACK_GENERATOR DEB)
set(CPACK_COMPONENTS_ALL programs)
set(CPACK_COMPONENTS_GROUPING ALL_COMPONENTS_IN_ONE)
set(CPACK_DEB_COMPONENT_INSTALL ON)
set(CPACK_PACKAGE_NAME tidemark)
set(CPACK_PACKAGE_VENDOR "Tidemark maintainers")
set(CPACK_PACKAGE_CONTACT "Tidemark maintainers <maintainers@users.noreply.example>")
set(CPACK_PACKAGE_DESCRIPTION_SUMMARY "measures on serial hip radiographs whether a stem has moved")
set(CPACK_RESOURCE_FILE_LICENSE ${CMAKE_CURRENT_SOURCE_DIR}/LICENSE)
set(CPACK_PACKAGING_INSTALL_PREFIX /usr)
set(CPACK_STRIP_FILES ON)
set(CPACK_DEBIAN_FILE_NAME DEB-DEFAULT)
set(CPACK_DEBIAN_PACKAGE_SECTION science)
set(CPACK_DEBIAN_PACKAGE_SHLIBDEPS ON) # dependencies from the libraries that the programs link
set(CPACK_DEBIAN_PACKAGE_DEPENDS fonts-dejavu-core) # texts of pictures and reports
include(CPack)
