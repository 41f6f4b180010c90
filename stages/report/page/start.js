// Draws the page, top to bottom.

drawMasthead();
drawChoiceBar();
drawVerdict();
drawMosaic();
drawGlance();
drawGrid();
drawCompare();
drawFit();
drawMarks();
drawFieldReport();
drawKeys();
prepareFrameView();
document.documentElement.classList.add('drawn');
