#include "tidemark/left/l.h"
