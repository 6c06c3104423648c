#include "tidemark/phantom/p.h"
