"use strict";
/* The last script of a page: whatever is to be tapped listens by now. */
document.documentElement.dataset.ready = "yes";
