#include "tidemark/view/run.h"

int main(int argc, char** argv) { return tidemark::view::run(argc, argv); }
