package openfile

const nonblock = 0 // a page has no pipes
